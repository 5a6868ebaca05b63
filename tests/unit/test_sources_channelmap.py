"""The channel map: what it says, and what is told when it says something wrong."""

import pytest
from recording_channels import CHANNELS, kinds

from spoolwright.errors import InputError
from spoolwright.sources.channelmap import ChannelMap, Entry, channel_map_from, read_channel_map
from spoolwright.sources.reading import read_recording

EXAMPLE = """
ignore = ["ng"]

[channels]
"Gas gen speed" = "ng"
"Oil P" = { channel = "oil_pressure", unit = "psig" }
"Gone" = "mgt"

[time]
column = "Clock"
unit = "ms"
zone = "+01:00"

[csv]
delimiter = ";"
decimal = ","
"""


def test_every_part_is_read_and_used(tmp_path):
    (tmp_path / "map.toml").write_text(EXAMPLE)
    names = read_channel_map(tmp_path / "map.toml")
    assert names == ChannelMap(
        entries={"Gas gen speed": Entry("ng"), "Oil P": Entry("oil_pressure", "psig"), "Gone": Entry("mgt")},
        ignore=frozenset(["ng"]),
        time_column="Clock",
        time_unit="ms",
        time_zone="+01:00",
        delimiter=";",
        decimal=",",
    )
    run = tmp_path / "run.csv"
    run.write_text(
        "Clock;time [s];Gas gen speed [rpm];Oil P [psi];ng [rpm]\n5;9;30,125;1;7\n10;9;30,250;2;7\n"
    )
    recording = read_recording(run, CHANNELS, names)
    assert recording.time.tolist() == [0.0, 0.005]
    assert recording["ng"].tolist() == [30.125, 30.25]
    assert recording["oil_pressure"] == pytest.approx([6894.757, 13789.51], abs=0.01)  # NIST SP 811
    series = recording.series["oil_pressure"]
    assert (series.entered_name, series.entered_unit, series.unit_source) == ("Oil P", "psig", "channel map")
    assert kinds(recording) == ["channel_map", "unused_columns", "unit_overridden"]
    assert "'Gone'" in recording.notes[0].text


def test_a_heading_with_its_unit_may_be_named_too(tmp_path):
    run = tmp_path / "run.csv"
    run.write_text("time,Speed [rpm]\n1,2\n")
    assert read_recording(run, CHANNELS, {"Speed [rpm]": "ng"})["ng"].tolist() == [2.0]


def test_a_plain_mapping_is_enough():
    assert channel_map_from({"a": "ng"}).entries == {"a": Entry("ng")}
    assert channel_map_from({}) == ChannelMap()


def test_an_unknown_channel_is_told_with_the_nearest(tmp_path):
    run = tmp_path / "run.csv"
    run.write_text("time,a\n1,2\n")
    with pytest.raises(InputError, match=r"'a' is 'torqe', which is no channel .* Did you mean 'torque'"):
        read_recording(run, CHANNELS, {"a": "torqe"})


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[channels\n", "line 1"),
        ("[chanels]\n", "'chanels'"),
        ("[time]\ncolum = 'x'\n", r"\[time\] holds 'colum'"),
        ("channels = 3\n", "'channels' is not a table"),
        ("[channels]\na = 3\n", "entry 'a'"),
        ("[channels]\na = { chanel = 'x' }\n", "entry 'a'"),
        ("[time]\ncolumn = 3\n", r"\[time\] column is not a text"),
        ("ignore = 'a'\n", "'ignore' is not a list"),
        ("[csv]\ndelimiter = 'x'\n", "delimiter 'x'"),
        ("[csv]\ndecimal = 'x'\n", "decimal 'x'"),
        ("a" * 2_000_000, "larger than"),
        ("a = " + "[" * 20_000, "not valid TOML"),
        ("\ud800", "not UTF-8"),
    ],
)
def test_mistakes_are_told_with_the_file_name(tmp_path, text, told):
    path = tmp_path / "map.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(InputError, match=told) as caught:
        read_channel_map(path)
    assert caught.value.where == "map.toml"


def test_a_missing_file_and_a_bad_zone(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_channel_map(tmp_path / "none.toml")
    run = tmp_path / "run.csv"
    run.write_text("time,ng\n2026-03-01T10:00:00,2\n")
    for zone in ("Paris", "+25:00", "+1"):
        with pytest.raises(InputError, match="time zone"):
            read_recording(run, CHANNELS, {"channels": {}, "time": {"zone": zone}})
