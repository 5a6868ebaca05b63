"""CSV in every variant. The files are written by Python's csv module or by hand, never by our own writer."""

import csv
import hashlib
from datetime import UTC, datetime

import numpy as np
import pytest
from recording_channels import CHANNELS, channel, kinds

from spoolwright.errors import InputError
from spoolwright.sources.limits import Limits
from spoolwright.sources.notes import NOTE_KINDS
from spoolwright.sources.reading import read_recording


def read(tmp_path, text, channel_map=None, limits=None, encoding="utf-8", name="run.csv", channels=CHANNELS):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    recording = read_recording(path, channels, channel_map, limits)
    assert all(note.kind in NOTE_KINDS for note in recording.notes)
    return recording


def test_units_are_converted_once_and_what_was_entered_is_kept(tmp_path):
    path = tmp_path / "run.csv"
    with path.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["time [s]", "N1 [rpm]", "T45 [°F]", "torque [lbf ft]", "P oil [psig]"])
        rows.writerows([[10.0, 30000, 32, 100, 0], [10.05, 30001.5, 212, 200, 14.7]])
    recording = read_recording(path, CHANNELS)
    assert recording.time.tolist() == [0.0, 10.05 - 10.0]
    assert recording["ng"].tolist() == [30000.0, 30001.5]
    # ice and steam point; NIST SP 811: 1 lbf ft = 1.355 818 N m, 1 psi = 6.894 757 kPa
    assert recording["mgt"] == pytest.approx([273.15, 373.15], abs=1e-9)
    assert recording["torque"] == pytest.approx([135.5818, 271.1636], abs=1e-4)
    assert recording["oil_pressure"] == pytest.approx([0.0, 101352.9], abs=0.1)
    series = recording.series["mgt"]
    assert (series.entered_name, series.entered_unit, series.inner_unit) == ("T45", "°F", "K")
    assert series.unit_source == "file"
    assert recording.notes == ()
    assert recording.source_name == "run.csv"
    assert recording.source_sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert recording.started_at is None


START = datetime(2026, 3, 1, 10, 0, 0, 50_000, UTC)

VARIANTS = {
    "comma": "time [s],ng [rpm],mgt [K]\n0,30000.5,900\n0.5,30001.25,901\n",
    "round brackets": "time (s),ng (rpm),mgt (K)\n0,30000.5,900\n0.5,30001.25,901\n",
    "semicolon and decimal comma": "time [s];ng [rpm];mgt [K]\n0;30000,5;900\n0,5;30001,25;901\n",
    "semicolon and decimal point": "time [s];ng [rpm];mgt [K]\n0;30000.5;900\n0.5;30001.25;901\n",
    "tab and decimal comma": "time [s]\tng [rpm]\tmgt [K]\n0\t30000,5\t900\n0,5\t30001,25\t901\n",
    "bar": "time [s]|ng [rpm]|mgt [K]\n0|30000.5|900\n0.5|30001.25|901\n",
    "CRLF": "time [s],ng [rpm],mgt [K]\r\n0,30000.5,900\r\n0.5,30001.25,901\r\n",
    "CR": "time [s],ng [rpm],mgt [K]\r0,30000.5,900\r0.5,30001.25,901\r",
    "no end of line": "time [s],ng [rpm],mgt [K]\n0,30000.5,900\n0.5,30001.25,901",
    "quotes": '"time [s]","ng [rpm]","mgt [K]"\n"0","30000.5","900"\n"0.5","30001.25","901"\n',
    "name with delimiter": '"time [s]";"ng [rpm]";"mgt [K]";"a;b"\n0;30000.5;900;1\n0.5;30001.25;901;1\n',
    "spaces": " time [s] , ng [rpm] , mgt [K]\n 0 , 30000.5 , 900\n 0.5 , 30001.25 , 901\n",
    "blank lines": "\n\ntime [s],ng [rpm],mgt [K]\n\n0,30000.5,900\n\n0.5,30001.25,901\n\n",
    "unit line": "time;ng;mgt\ns;rpm;K\n0;30000.5;900\n0.5;30001.25;901\n",
    "unit line in brackets": "time,ng,mgt\n[s],[rpm],[K]\n0,30000.5,900\n0.5,30001.25,901\n",
    "trailing delimiter": "time [s];ng [rpm];mgt [K];\n0;30000,5;900;\n0,5;30001,25;901;\n",
    "trailing delimiter in rows only": "time [s];ng [rpm];mgt [K]\n0;30000,5;900;\n0,5;30001,25;901;\n",
    "separator line": "sep=;\ntime [s];ng [rpm];mgt [K]\n0;30000,5;900\n0,5;30001,25;901\n",
    "plus and exponent": "time [s],ng [rpm],mgt [K]\n0,+3.00005E4,9e2\n5e-1,30001.25,+901.\n",
    "names in another case": "Time [s],NG [RPM],MGT [K]\n0,30000.5,900\n0.5,30001.25,901\n",
    "minutes": "time [min],ng [rpm],mgt [K]\n0,30000.5,900\n0.008333333333333333,30001.25,901\n",
}


@pytest.mark.parametrize("text", VARIANTS.values(), ids=VARIANTS.keys())
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_variants_read_alike(tmp_path, text, encoding):
    recording = read(tmp_path, text, encoding=encoding)
    assert recording.time == pytest.approx([0.0, 0.5], abs=1e-15)
    assert recording["ng"].tolist() == [30000.5, 30001.25]
    assert recording["mgt"].tolist() == [900.0, 901.0]
    assert [k for k in kinds(recording) if k not in ("encoding", "unused_columns")] == []
    assert kinds(recording).count("encoding") == (encoding == "utf-16")


def test_latin_1_is_read_and_told(tmp_path):
    recording = read(tmp_path, "time [s];T45 [°C]\n0;15\n", encoding="latin-1")
    assert recording["mgt"].tolist() == [288.15]
    assert "ISO 8859-1" in recording.notes[0].text


def test_latin_1_far_behind_the_header_is_read_and_told(tmp_path):
    rows = "".join(f"{i},20\n" for i in range(1000)) + "1000,20°\n"
    recording = read(tmp_path, b"time [s],mgt [K]\n" + rows.encode("latin-1"), limits=Limits(line_bytes=1000))
    assert recording.rows == 1001
    assert kinds(recording) == ["encoding", "unread_cells"]
    assert "'20°' in row 1001" in recording.notes[1].text


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ("time [s],ng [rpm]\n0,1\n".encode("utf-16-le"), "UTF-16 text without a byte order mark"),
        ("time [s],ng [rpm]\n0,1\n".encode("utf-32"), "UTF-32"),
        (b"time [s],ng [rpm]\n0,1\x00\n", "NUL"),
        (bytes(range(256)) * 20, "not text"),
        (b"", "empty"),
        (b"\n\n\n", "no header line"),
        (b"# operator: x\n", "no header line"),
        (b"time [s],ng [rpm]\n", "no rows"),
        (b"time [s],ng [rpm]", "no rows"),
        (b"0,1\n1,2\n", "holds numbers, not names"),
        (b"just one column\n1\n", "does not split into columns"),
        (b"ng [rpm],mgt [K]\n1,2\n", "no column is named 'time'"),
        (b"time [s],timestamp,ng\n1,2,3\n", "could each be the time column"),
        (b"time [furlong],ng\n1,2\n", "no column is named 'time'"),
        (b"time [s],alpha,beta\n1,2,3\n", "none of its columns is a channel"),
        (b"time [s],ng [rpm]\n0,5,30000,5\n1,0,30001,5\n", "rows do not have as many fields"),
        (b"time,ng [rpm]\n01.03.2026 10:00:00,30000\n", "which is no time"),
        (b"PK\x03\x04rest", "zip archive or a spreadsheet"),
        (b"\x1f\x8brest", "gzip"),
    ],
)
def test_what_cannot_be_read_is_told_with_the_file_name(tmp_path, data, told):
    with pytest.raises(InputError, match=r"^run\.csv: ") as caught:
        read(tmp_path, data)
    assert told in str(caught.value)


def test_a_bad_cell_is_nan_with_row_and_text(tmp_path):
    recording = read(tmp_path, "time [s],ng [rpm],mgt [K]\n0,1,900\n1,abc,901\n2,3,\n3,nan,903\n4,1_0,904\n")
    assert np.isnan(recording["ng"]).tolist() == [False, True, False, True, True]
    assert np.isnan(recording["mgt"]).tolist() == [False, False, True, False, False]
    (note,) = recording.notes  # the empty cell and the nan say themselves that nothing was recorded
    assert (note.kind, note.channel, note.rows) == ("unread_cells", "ng", (1, 4))
    assert "'abc' in row 2" in note.text
    assert "'1_0' in row 5" in note.text


def test_a_decimal_comma_cell_among_points_is_not_guessed(tmp_path):
    rows = "".join(f"{i};{i}.5\n" for i in range(500)) + "500;7,25\n"
    recording = read(tmp_path, "time [s];ng [rpm]\n" + rows)
    assert np.isnan(recording["ng"][500])
    assert recording["ng"][:3].tolist() == [0.5, 1.5, 2.5]
    assert "'7,25' in row 501" in recording.notes[0].text


def test_a_decimal_comma_that_shows_late_is_found(tmp_path):
    rows = "".join(f"{i};0\n" for i in range(500)) + "500;7,25\n"
    assert read(tmp_path, "time [s];ng [rpm]\n" + rows)["ng"][500] == 7.25


def test_both_decimal_marks_are_refused(tmp_path):
    with pytest.raises(InputError, match="both occur"):
        read(tmp_path, "time [s];ng [rpm];mgt [K]\n0,5;1;9.5\n1,5;2;9.25\n")


def test_a_comma_that_may_part_thousands_is_refused_until_stated(tmp_path):
    text = "time [s];ng [rpm]\n0;30,125\n1;30,250\n"
    with pytest.raises(InputError, match="thousands or decimals"):
        read(tmp_path, text)
    stated = {"channels": {"ng": "ng"}, "csv": {"decimal": ","}}
    assert read(tmp_path, text, stated)["ng"].tolist() == [30.125, 30.25]


def test_infinite_values_are_no_measurement(tmp_path):
    recording = read(tmp_path, "time [s],ng [rpm]\n0,inf\n1,1e999\n2,5\n")
    assert np.isnan(recording["ng"]).tolist() == [True, True, False]
    assert recording.notes[0].rows == (0, 1)


def test_no_instrument_reads_a_number_beyond_all_bounds(tmp_path):
    recording = read(tmp_path, "time [s],ng [rpm]\n0,1e13\n1,7\n2,-1e308\n3,1e11\n")
    assert np.isnan(recording["ng"]).tolist() == [True, False, True, False]
    (note,) = recording.notes
    assert (note.kind, note.channel, note.rows) == ("unread_cells", "ng", (0, 2))
    assert "2 cell(s) are infinite or so large that no instrument reads it" in note.text


def test_a_row_months_off_has_no_readable_time(tmp_path):
    recording = read(tmp_path, "time [s],ng [rpm]\n1e308,1\n10,2\n11,3\n12,4\n-2e7,5\n")
    assert recording.time.tolist() == [0.0, 1.0, 2.0]
    assert recording["ng"].tolist() == [2.0, 3.0, 4.0]
    (note,) = recording.notes
    assert note.text == "2 row(s) have no readable time and were left out, the first is row 1."


def test_rows_with_other_fields_are_left_out_and_named(tmp_path):
    recording = read(tmp_path, "time [s],ng [rpm]\n0,1\n1\n2,3,4\n3,5\n4,")
    assert recording.time.tolist() == [0.0, 3.0, 4.0]
    (note,) = recording.notes
    assert note.kind == "rows_left_out"
    assert "row 2 has 1 ('1'), row 3 has 3 ('2,3,4')" in note.text


def test_too_many_odd_rows_are_refused(tmp_path):
    rows = "0,1\n" * 300 + "1\n" * 50
    with pytest.raises(InputError, match=r"more than 20 rows .* row 301 has 1"):
        read(tmp_path, "time [s],ng [rpm]\n" + rows, limits=Limits(odd_rows=20))


def test_a_stray_quote_swallows_no_rows(tmp_path):
    rows = "".join(f"{i},1\n" for i in range(300)) + '300,"2\n301,3\n302,4\n'
    recording = read(tmp_path, "time [s],ng [rpm]\n" + rows)
    assert recording.rows == 303
    assert recording["ng"][-2:].tolist() == [3.0, 4.0]


def test_rows_without_a_readable_time_are_left_out_and_named(tmp_path):
    recording = read(tmp_path, "time [s],ng [rpm]\n0,1\n?,2\n2,3\n")
    assert recording.time.tolist() == [0.0, 2.0]
    assert recording["ng"].tolist() == [1.0, 3.0]
    assert kinds(recording) == ["unread_cells", "rows_left_out"]


def test_time_is_kept_as_recorded_even_backwards(tmp_path):
    recording = read(tmp_path, "time [s],ng [rpm]\n5,1\n6,2\n6,3\n5.5,4\n")
    assert recording.time.tolist() == [0.0, 1.0, 1.0, 0.5]


@pytest.mark.parametrize(
    ("first", "second", "started"),
    [
        ("2026-03-01T10:00:00.05Z", "2026-03-01T10:00:00.10Z", START),
        ("2026-03-01 12:00:00.05+02:00", "2026-03-01 12:00:00.10+0200", START),
        ("2026-03-01T10:00:00,05", "2026-03-01T10:00:00,10", None),
    ],
)
def test_iso_8601_time_stamps(tmp_path, first, second, started):
    recording = read(tmp_path, f"time;ng [rpm]\n{first};1\n{second};2\n")
    assert recording.time.tolist() == [0.0, 0.05]
    assert recording.started_at == started
    assert ("time_zone" in kinds(recording)) == (started is None)


def test_a_zone_may_be_stated(tmp_path):
    text = "time;ng [rpm]\n2026-03-01T10:00:00;1\n2026-03-01T10:00:01;1\n"
    stated = {"channels": {"ng": "ng"}, "time": {"zone": "+01:00"}}
    assert read(tmp_path, text, stated).started_at == datetime(2026, 3, 1, 9, tzinfo=UTC)
    assert read(tmp_path, "# time zone: UTC\n" + text).started_at == datetime(2026, 3, 1, 10, tzinfo=UTC)


def test_stamps_that_mix_zoned_and_not_or_name_no_day_are_left_out(tmp_path):
    stamps = ["2026-02-28T10:00:00Z", "2026-02-28T10:00:01", "2026-02-30T10:00:02Z", "2026-02-28T10:00:03Z"]
    recording = read(tmp_path, "time,ng\n" + "".join(f"{s},1\n" for s in stamps))
    assert recording.time.tolist() == [0.0, 3.0]
    assert "hold no time: '2026-02-28T10:00:01' in row 2" in recording.notes[1].text


def test_time_of_day_runs_on_over_midnight(tmp_path):
    recording = read(tmp_path, "time,ng [rpm]\n23:59:59.5,1\n00:00:00.5,2\n00:00:01,3\n")
    assert recording.time == pytest.approx([0.0, 1.0, 1.5])
    assert "midnight in row 2" in recording.notes[0].text


def test_a_clock_set_back_by_an_hour_is_kept_as_recorded(tmp_path):
    assert read(tmp_path, "time,ng [rpm]\n12:00:00,1\n11:00:00,2\n").time.tolist() == [0.0, -3600.0]


def test_header_facts(tmp_path):
    text = (
        "# Engine serial: C940-0017\n# cell = 2\n# started at: 2026-03-01T10:00:00+01:00\ntime [s],ng\n5,1\n"
    )
    recording = read(tmp_path, text)
    assert recording.attributes["engine_serial"] == "C940-0017"
    assert recording.attributes["cell"] == "2"
    assert recording.started_at == datetime(2026, 3, 1, 9, tzinfo=UTC)


def test_a_missing_unit_is_the_type_files_and_told(tmp_path):
    recording = read(tmp_path, "time [s],mgt,ignition\n0,15,1\n")
    assert recording["mgt"].tolist() == [288.15]
    assert recording.series["mgt"].unit_source == "type file"
    assert recording.series["mgt"].entered_unit == ""
    assert [(n.kind, n.channel) for n in recording.notes] == [("unit_assumed", "mgt")]  # a state has no unit


def test_psi_without_a_or_g_is_read_as_the_quantity_says_and_told(tmp_path):
    recording = read(tmp_path, "time [s],P3 [psi],oil_pressure [psi]\n0,1,1\n")
    assert recording["p3"] == pytest.approx([6894.757], abs=1e-3)  # NIST SP 811
    assert [(n.kind, n.channel) for n in recording.notes] == [
        ("unit_ambiguous", "p3"), ("unit_ambiguous", "oil_pressure")]  # fmt: skip
    assert "read as absolute" in recording.notes[0].text
    assert "read as gauge" in recording.notes[1].text


@pytest.mark.parametrize("unit", ["kW", "furlong", "kph", "psia"])
def test_a_unit_that_does_not_fit_leaves_the_channel_out_and_says_so(tmp_path, unit):
    recording = read(tmp_path, f"time [s],ng [rpm],oil_pressure [{unit}]\n0,1,1\n")
    assert "oil_pressure" not in recording
    assert [(n.kind, n.channel) for n in recording.notes] == [("unit_refused", "oil_pressure")]
    assert unit in recording.notes[0].text


def test_per_cent_of_full_scale(tmp_path):
    recording = read(tmp_path, "time [s],ng [%],torque [%],RH [%]\n0,102.5,50,45\n")
    assert recording["ng"].tolist() == [41_000.0]  # 102.5 % of 40,000 rpm
    assert recording["humidity"].tolist() == [0.45]
    assert "torque" not in recording  # the type file gives no full scale for it
    assert kinds(recording) == ["percent", "unit_refused"]


def test_columns_that_are_no_channel_are_named(tmp_path):
    recording = read(tmp_path, "time [s],ng [rpm],spare 1,spare 2\n0,1,2,x\n")
    assert [n.kind for n in recording.notes] == ["unused_columns"]
    assert "'spare 1', 'spare 2'" in recording.notes[0].text


@pytest.mark.parametrize("header", ["time [s],ng [rpm],N1 [rpm]", "time [s],ng [rpm],ng [rpm]"])
def test_two_columns_for_one_channel_are_both_named(tmp_path, header):
    with pytest.raises(InputError, match=r"'ng \[rpm\]' \(no. 2\) and .* \(no. 3\) are both channel 'ng'"):
        read(tmp_path, header + "\n0,1,2\n")


def test_a_name_with_brackets_stays_a_name(tmp_path):
    recording = read(tmp_path, "time [s],Vibration (front) [in/s],T45 (left)\n0,1,2\n")
    assert recording["vibration"].tolist() == [0.0254]
    assert "'T45 (left)'" in recording.notes[0].text


def test_a_name_that_two_channels_share_is_no_channels(tmp_path):
    twins = [channel("a", "speed", "rpm", aliases=("N",)), channel("b", "speed", "rpm", aliases=("N",))]
    recording = read(tmp_path, "time [s],a,N\n0,1,2\n", channels=twins)
    assert list(recording.series) == ["a"]
    assert "'N'" in next(note.text for note in recording.notes if note.kind == "unused_columns")


def test_limits(tmp_path):
    text = "time [s],ng [rpm]\n" + "0,1\n" * 100
    with pytest.raises(InputError, match="limit is 50 values"):
        read(tmp_path, text, limits=Limits(values=50))
    with pytest.raises(InputError, match="2 columns, the limit is 1"):
        read(tmp_path, text, limits=Limits(columns=1))
    with pytest.raises(InputError, match="bytes, the limit is 10"):
        read(tmp_path, text, limits=Limits(file_bytes=10))
    with pytest.raises(InputError, match="first line is longer than 1000 bytes"):
        read(tmp_path, "time [s]," * 1000, limits=Limits(line_bytes=1000))


@pytest.mark.parametrize("end", ["\n", "\r", "\r\n"])
def test_a_line_too_long_is_refused_though_it_ends(tmp_path, end):
    """Cells may be long; a line may hold 1000 bytes and no more, wherever in the file it stands."""
    rows = [f"{i},{i:0400d}" for i in range(20)]
    limits = Limits(line_bytes=1000)
    assert read(tmp_path, end.join(["time [s],ng [rpm]", *rows, ""]), limits=limits).rows == 20
    longest = f"20,{20:0997d}"
    assert len(longest) == 1000
    assert (
        read(tmp_path, end.join(["time [s],ng [rpm]", *rows, longest, "21,1", ""]), limits=limits).rows == 22
    )
    for place in (0, 10, 20):
        long = [*rows[:place], "0" + longest, *rows[place:]]
        with pytest.raises(InputError, match="longer than 1000 bytes"):
            read(tmp_path, end.join(["time [s],ng [rpm]", *long, ""]), limits=limits)


def test_an_endless_line_below_the_header_is_refused(tmp_path):
    with pytest.raises(InputError, match="a line is longer than"):
        read(tmp_path, "time [s],ng [rpm]\n0,1\n1," + "2" * 5_000_000)


def test_paths_that_are_no_file(tmp_path):
    for path in (tmp_path, tmp_path / "missing.csv", "/dev/zero", "a\0b"):
        with pytest.raises(InputError):
            read_recording(path, CHANNELS)


def test_a_suffix_that_disagrees_is_told(tmp_path):
    with pytest.raises(InputError, match="its name says parquet, its first bytes do not"):
        read(tmp_path, "time [s],ng [rpm]\n0,1\n", name="run.parquet")


def test_control_characters_in_a_file_do_not_reach_the_terminal(tmp_path):
    recording = read(tmp_path, "time [s],ng [rpm],\x1b[31mred\n0,\x1b[2J,1\n")
    assert "\x1b" not in "".join(note.text for note in recording.notes)
