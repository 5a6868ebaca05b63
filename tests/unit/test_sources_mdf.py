"""MDF4, written by asammdf directly."""

import struct
import sys
from datetime import UTC, datetime

import numpy as np
import pytest
from recording_channels import CHANNELS, channel, kinds

from spoolwright.errors import InputError
from spoolwright.sources.limits import Limits
from spoolwright.sources.reading import read_recording

asammdf = pytest.importorskip("asammdf")

T = np.arange(20) * 0.05


def signal(name, values, unit="", times=T, **more):
    return asammdf.Signal(np.asarray(values), times, name=name, unit=unit, **more)


def write(path, *groups, version="4.10", compression=0, start=None, properties=None):
    with asammdf.MDF(version=version) as mdf:
        for group in groups:
            mdf.append(group, common_timebase=True)
        mdf.header.start_time = start or datetime(2026, 3, 1, 10, tzinfo=UTC)
        mdf.header._common_properties.update(properties or {})
        mdf.save(path, overwrite=True, compression=compression)
    return path


@pytest.mark.parametrize("version", ["4.00", "4.10", "4.20"])
@pytest.mark.parametrize("compression", [0, 1, 2])
def test_channels_units_time_and_start(tmp_path, version, compression):
    speed, gas = 30_000 + np.arange(20) / 3, np.linspace(32, 212, 20)
    group = [signal("N1", speed, "rpm"), signal("T45", gas, "degF"), signal("spare", gas)]
    path = write(
        tmp_path / "run.mf4", group, version=version, compression=compression, properties={"cell": "2"}
    )
    recording = read_recording(path, CHANNELS)
    assert recording.time.tolist() == T.tolist()
    assert recording["ng"].tolist() == speed.tolist()
    assert recording["mgt"][[0, -1]] == pytest.approx([273.15, 373.15])  # ice and steam point
    assert recording.started_at == datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert recording.attributes["cell"] == "2"
    assert kinds(recording) == ["unused_columns"]


def test_a_start_in_local_time_needs_its_zone(tmp_path):
    path = write(tmp_path / "run.mf4", [signal("ng", T, "rpm")], start=datetime(2026, 3, 1, 10))
    assert kinds(recording := read_recording(path, CHANNELS)) == ["time_zone"]
    assert recording.started_at is None
    stated = read_recording(path, CHANNELS, {"time": {"zone": "+01:00"}})
    assert stated.started_at == datetime(2026, 3, 1, 9, tzinfo=UTC)


def test_integers_and_linear_conversion(tmp_path):
    raw = np.arange(20, dtype=np.int16)
    scaled = signal("torque", raw, "N m", conversion={"a": 0.5, "b": 10.0})
    path = write(tmp_path / "run.mf4", [scaled, signal("ng", raw.astype(np.uint32), "rpm")])
    recording = read_recording(path, CHANNELS)
    assert recording["torque"].tolist() == (0.5 * raw + 10).tolist()
    assert recording["ng"].tolist() == raw.tolist()


def test_a_formula_in_text_is_not_run(tmp_path):
    formula = signal("torque", np.arange(20.0), "N m", conversion={"formula": "X1*2"})
    recording = read_recording(write(tmp_path / "run.mf4", [formula, signal("ng", T, "rpm")]), CHANNELS)
    assert list(recording.series) == ["ng"]
    assert "formula" in recording.notes[0].text


def test_text_and_array_channels_are_left_out(tmp_path):
    words = signal("torque", np.array([b"a"] * 20), "N m", encoding="utf-8")
    recording = read_recording(write(tmp_path / "run.mf4", [words, signal("ng", T, "rpm")]), CHANNELS)
    assert list(recording.series) == ["ng"]
    assert kinds(recording) == ["not_numbers"]


def test_invalid_samples_are_nan(tmp_path):
    bad = np.zeros(20, dtype=bool)
    bad[3] = True
    marked = signal("ng", T, "rpm", invalidation_bits=bad)
    recording = read_recording(write(tmp_path / "run.mf4", [marked]), CHANNELS)
    assert np.flatnonzero(np.isnan(recording["ng"])).tolist() == [3]


def test_a_slower_clock_is_placed_without_making_up_values(tmp_path):
    slow_times = np.array([0.001, 0.249, 0.501, 5.0])  # the last lies beyond the main clock
    slow = signal("T45", np.array([900.0, 901.0, 902.0, 903.0]), "K", slow_times)
    path = write(tmp_path / "run.mf4", [signal("ng", T, "rpm")], [slow])
    recording = read_recording(path, CHANNELS)
    assert recording.time.tolist() == T.tolist()
    placed = np.flatnonzero(np.isfinite(recording["mgt"]))
    assert placed.tolist() == [0, 5, 10]
    assert recording["mgt"][placed].tolist() == [900.0, 901.0, 902.0]
    assert "moved by at most 0.001 s, 1 left out" in recording.notes[0].text


def test_one_channel_in_two_groups_is_named_with_its_groups(tmp_path):
    path = write(tmp_path / "run.mf4", [signal("ng", T, "rpm")], [signal("ng", T, "rpm")])
    with pytest.raises(InputError, match=r"'.*/ng' .* and '.*/ng' .* are both channel 'ng'"):
        read_recording(path, CHANNELS)


def test_limits_and_damage(tmp_path):
    path = write(tmp_path / "run.mf4", [signal("ng", T, "rpm")])
    with pytest.raises(InputError, match="limit is 10 values"):
        read_recording(path, CHANNELS, limits=Limits(values=10))
    with pytest.raises(InputError, match="limit is 1"):
        read_recording(path, CHANNELS, limits=Limits(columns=1))
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match=r"^run\.mf4: it is damaged"):
        read_recording(path, CHANNELS)


def test_mdf_3_is_told(tmp_path):
    path = tmp_path / "run.mdf"
    path.write_bytes(b"MDF     3.30    " + bytes(200))
    with pytest.raises(InputError, match=r"MDF version 3\.30.*MDF 4"):
        read_recording(path, CHANNELS)


def blocks_of(data, kind):
    """Offsets of the blocks of a kind."""
    found, at = [], data.find(kind)
    while at >= 0:
        found.append(at)
        at = data.find(kind, at + 1)
    return found


@pytest.mark.parametrize("kind", [b"##DG", b"##CG", b"##CN"])
def test_a_block_that_links_to_itself_ends_no_reader(tmp_path, kind):
    path = write(tmp_path / "run.mf4", [signal("ng", T, "rpm")])
    data = bytearray(path.read_bytes())
    at = blocks_of(data, kind)[0]
    struct.pack_into("<Q", data, at + 24, at)  # the first link of these blocks is the next of the chain
    path.write_bytes(data)
    with pytest.raises(InputError, match="is its own successor"):
        read_recording(path, CHANNELS)


@pytest.mark.parametrize(("length", "told"), [(2**40, "unpacks to more than"), (10**6, "no rows")])
def test_a_compressed_block_that_promises_too_much_is_refused(tmp_path, length, told):
    path = write(tmp_path / "run.mf4", [signal("ng", T, "rpm")], compression=1)
    data = bytearray(path.read_bytes())
    struct.pack_into("<Q", data, blocks_of(data, b"##DZ")[0] + 32, length)
    path.write_bytes(data)
    with pytest.raises(InputError, match=told):
        read_recording(path, CHANNELS)


def test_reading_needs_no_package(tmp_path, monkeypatch):
    path = write(tmp_path / "run.mf4", [signal("ng", T, "rpm")])
    monkeypatch.setitem(sys.modules, "asammdf", None)
    assert read_recording(path, CHANNELS).rows == 20


NUMBERS = ["u1", "i1", "u2", "i2", "u4", "i4", "u8", "i8", "f2", "f4", "f8", ">u2", ">i4", ">f4", ">f8"]
RANGES = {"lower_0": 5, "upper_0": 10, "phys_0": 1, "lower_1": 20, "upper_1": 30, "phys_1": 2, "default": -1}
TABLE = {"raw_0": 0, "phys_0": 5, "raw_1": 49, "phys_1": 7, "raw_2": 99, "phys_2": 1}
CONVERSIONS = {
    "none": None,
    "linear": {"a": 0.25, "b": -3.0},
    "rational": {"P1": 0.0, "P2": 2.0, "P3": 1.0, "P4": 0.0, "P5": 0.5, "P6": 300.0},
    "interpolated": {"interpolation": True, **TABLE},
    "nearest": {"interpolation": False, **TABLE},
    "to text": {"val_0": 1, "text_0": b"on", "val_1": 2, "text_1": b"off", "default": b""},
}  # fmt: skip


@pytest.mark.parametrize("conversion", CONVERSIONS.values(), ids=CONVERSIONS.keys())
def test_every_number_and_conversion_reads_as_asammdf_reads_it(tmp_path, conversion):
    raw = np.arange(100)
    names = [f"c{i}" for i in range(len(NUMBERS))]
    group = [
        signal(name, raw.astype(kind), "rpm", np.arange(100.0), conversion=conversion)
        for name, kind in zip(names, NUMBERS, strict=True)
    ]
    path = write(tmp_path / "run.mf4", group, compression=2)
    recording = read_recording(path, [channel(name, "speed", "rpm") for name in names])
    with asammdf.MDF(path) as mdf:
        for name in names:
            (read,) = mdf.select([name], ignore_value2text_conversions=True)
            np.testing.assert_allclose(recording[name], read.samples.astype(float), rtol=1e-14, err_msg=name)


def test_ranges_leave_out_their_upper_end_for_reals_alone(tmp_path):
    """ASAM MDF 4.1.1, block CC: lower <= x < upper for reals, lower <= x <= upper for integers."""
    raw = np.arange(40)
    group = [signal("ng", raw.astype("f8"), "rpm", raw, conversion=RANGES)]
    group.append(signal("mgt", raw.astype("i4"), "K", raw, conversion=RANGES))
    recording = read_recording(write(tmp_path / "run.mf4", group), CHANNELS)
    expected = np.where((raw >= 5) & (raw < 10), 1.0, np.where((raw >= 20) & (raw < 30), 2.0, -1.0))
    assert recording["ng"].tolist() == expected.tolist()
    expected[[10, 30]] = [1.0, 2.0]
    assert recording["mgt"].tolist() == expected.tolist()


def test_many_data_blocks_are_joined(tmp_path):
    times = np.arange(30_000) * 0.05
    speed = np.sin(times) * 1000 + 30_000
    for compression in (0, 1, 2):
        path = tmp_path / f"run{compression}.mf4"
        with asammdf.MDF(version="4.10") as mdf:
            mdf.configure(write_fragment_size=65_536)
            mdf.append([signal("ng", speed, "rpm", times), signal("mgt", speed[::-1], "K", times)])
            mdf.save(path, compression=compression)
        assert len(blocks_of(path.read_bytes(), (b"##DT", b"##DZ", b"##DZ")[compression])) > 5
        recording = read_recording(path, CHANNELS)
        assert recording.time.tolist() == times.tolist()
        assert recording["ng"].tolist() == speed.tolist()
        assert recording["mgt"].tolist() == speed[::-1].tolist()


def test_a_damaged_data_block_ends_the_recording_there(tmp_path):
    times = np.arange(30_000) * 0.05
    path = tmp_path / "run.mf4"
    with asammdf.MDF(version="4.10") as mdf:
        mdf.configure(write_fragment_size=65_536)
        mdf.append([signal("ng", times * 2, "rpm", times)])
        mdf.save(path, compression=1)
    data = bytearray(path.read_bytes())
    third = blocks_of(data, b"##DZ")[2]
    data[third + 48 : third + 80] = bytes(32)
    path.write_bytes(data)
    recording = read_recording(path, CHANNELS)
    assert 0 < recording.rows < 30_000
    assert recording["ng"].tolist() == (times * 2)[: recording.rows].tolist()
    assert kinds(recording) == ["cut_short"]


def block(kind, links, fields):
    """A block as ASAM MDF 4.1.1 lays it out."""
    length = 24 + 8 * len(links) + len(fields)
    head = struct.pack("<4s4xQQ", b"##" + kind, length, len(links))
    return head + struct.pack(f"<{len(links)}Q", *links) + fields + b"\0" * (-length % 8)


class Builder:
    """Blocks laid one after another; a later block links to earlier ones."""

    def __init__(self):
        self.data = bytearray(64 + 24 + 48 + 40)

    def add(self, kind, links, fields=b""):
        at = len(self.data)
        self.data += block(kind, links, fields)
        return at

    def text(self, text):
        return self.add(b"TX", [], text.encode() + b"\0")

    def channel(self, name, following, kind, sync, data_type, bit, byte, bits):
        fields = struct.pack(
            "<BBBBIIIIBBHdddddd", kind, sync, data_type, bit, byte, bits, 0, 0, 0, 0, 0, *[0.0] * 6
        )
        links = [following, 0, self.text(name), 0, 0, 0, self.text("s" if kind == 2 else "rpm"), 0]
        return self.add(b"CN", links, fields)

    def group(self, following, channels, record_id, rows, size):
        links = [following, channels, 0, 0, 0, 0]
        return self.add(b"CG", links, struct.pack("<QQHH4xII", record_id, rows, 0, 0, size, 0))

    def finish(self, path, data_group, flags=0):
        name = b"UnFinMF " if flags else b"MDF     "
        self.data[:64] = struct.pack("<8s8s8s4xH30xHH", name, b"4.10    ", b"test", 410, flags, 0)
        header = block(
            b"HD", [data_group, 0, 0, 0, 0, 0], struct.pack("<QhhBBBxdd", 0, 0, 0, 0, 0, 0, 0.0, 0.0)
        )
        self.data[64 : 64 + len(header)] = header
        path.write_bytes(self.data)
        return path


def test_two_groups_whose_records_stand_mixed_and_odd_bits(tmp_path):
    made = Builder()
    # group 1: time f8, 12 bits unsigned at bit 3 of byte 8; group 2: time f8, 20 bits signed big-endian there
    speed = made.channel("ng", 0, 0, 0, 0, 3, 8, 12)
    first = made.group(0, made.channel("t", speed, 2, 1, 4, 0, 0, 64), 1, 3, 10)
    gas = made.channel("mgt", 0, 0, 0, 3, 0, 8, 20)
    second = made.group(first, made.channel("t", gas, 2, 1, 4, 0, 0, 64), 2, 2, 11)
    ng, mgt = [5, 4095, 0], [-7, 500_000]
    one = [b"\x01" + struct.pack("<dH", t, value << 3 | 0x8005) for t, value in enumerate(ng)]
    two = [b"\x02" + struct.pack("<d", t) + (v & 0xFFFFF).to_bytes(3, "big") for t, v in enumerate(mgt)]
    data = made.add(b"DT", [], one[0] + two[0] + one[1] + one[2] + two[1])
    path = made.finish(tmp_path / "run.mf4", made.add(b"DG", [0, second, data, 0], struct.pack("<B7x", 1)))
    channels = [channel("ng", "speed", "rpm"), channel("mgt", "speed", "rpm")]
    recording = read_recording(path, channels)
    assert recording.time.tolist() == [0.0, 1.0, 2.0]
    assert recording["ng"].tolist() == [float(value) for value in ng]
    np.testing.assert_array_equal(recording["mgt"], [*mgt, np.nan])
    with asammdf.MDF(path) as mdf:  # the same file through another reader
        assert mdf.get("ng").samples.tolist() == ng
        assert mdf.get("mgt").samples.tolist() == mgt


def test_an_unfinished_file_is_read_to_its_end(tmp_path):
    made = Builder()
    group = made.group(
        0, made.channel("t", made.channel("ng", 0, 0, 0, 4, 0, 8, 64), 2, 1, 4, 0, 0, 64), 0, 0, 16
    )
    at = len(made.data)
    data_group = made.add(b"DG", [0, group, at + 64, 0], struct.pack("<B7x", 0))
    data = made.add(b"DT", [])
    assert data == at + 64
    made.data += struct.pack("<dddddd", 0.0, 10.0, 1.0, 11.0, 2.0, 12.0) + b"half a record"[:7]
    path = made.finish(
        tmp_path / "run.mf4", data_group, flags=1 | 4
    )  # rows and length of the last DT not updated
    recording = read_recording(path, CHANNELS)
    assert recording.time.tolist() == [0.0, 1.0, 2.0]
    assert recording["ng"].tolist() == [10.0, 11.0, 12.0]
    assert kinds(recording) == ["cut_short"]
