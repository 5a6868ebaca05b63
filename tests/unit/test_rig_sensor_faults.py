"""Planted faults of the data: unit conversions by hand, altitude by the `ambiance` library."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from ambiance import Atmosphere

from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError
from spoolwright.rig.draws import stream
from spoolwright.rig.sensor_faults import KINDS, planted, pressure_altitude, sensor_fault
from spoolwright.sources.typefile import load_type, shipped_type
from spoolwright.units import INNER_UNIT, to_inner

LEVELS = {
    "t2": 288.15,
    "p_amb": 9.5e4,
    "torque": 1500.0,
    "ng": 38000.0,
    "np": 5840.0,
    "mgt": 1000.0,
    "rh": 0.5,
}


@pytest.fixture(scope="module")
def known() -> TypeFile:
    return load_type(shipped_type()).type_file


@pytest.fixture
def recording(known: TypeFile) -> Recording:
    time = np.arange(0.0, 600.0, 0.5)
    by_id = {c.id: c for c in known.channel}
    wobble = np.sin(time / 7.0)
    series = {
        name: Series(name, x * (1 + 1e-4 * wobble), name, by_id[name].unit, INNER_UNIT[by_id[name].dimension])
        for name, x in LEVELS.items()
    }
    return Recording(time, series, datetime(2026, 10, 1, tzinfo=UTC), "x", "0")


def faulty(recording: Recording, known: TypeFile, *texts: str) -> Recording:
    return planted(recording, [sensor_fault(t, known) for t in texts], known, stream(1, "spikes"))


@pytest.mark.parametrize(
    ("text", "channel", "right", "wrong"),
    [
        ("unit:t2=degF", "t2", 288.15, to_inner(59.0, "degC")),  # 15 degC is 59 degF
        ("unit:torque=lbf ft", "torque", 1500.0, 1500.0 / 1.3558179483),  # 1 lbf ft = 1.3558179483 N m
        ("unit:p_amb=psia", "p_amb", 9.5e4, 9.5e4 / 6894.757293168 * 100.0),  # labelled hPa
        ("unit:ng=percent", "ng", 38000.0, 38000.0 / 38650.0 * 100.0),
    ],
)
def test_a_wrong_unit_is_written_under_the_right_label(
    recording: Recording, known: TypeFile, text: str, channel: str, right: float, wrong: float
) -> None:
    assert np.median(recording[channel]) == pytest.approx(right, rel=1e-3)
    assert np.median(faulty(recording, known, text)[channel]) == pytest.approx(wrong, rel=1e-3)


def test_pressure_altitude_agrees_with_the_standard_atmosphere() -> None:
    heights = np.array([-200.0, 0.0, 500.0, 1500.0, 3000.0])
    air = Atmosphere(Atmosphere.geop2geom_height(heights))
    np.testing.assert_allclose(pressure_altitude(air.pressure), heights, atol=0.01)


def test_a_barometer_in_metres_reads_as_its_number(recording: Recording, known: TypeFile) -> None:
    seen = faulty(recording, known, "unit:p_amb=altitude_m")["p_amb"]
    np.testing.assert_allclose(seen / 100.0, pressure_altitude(recording["p_amb"]), rtol=1e-9)


def test_bias_drift_and_saturation(recording: Recording, known: TypeFile) -> None:
    clean = recording["mgt"]
    late = recording.time >= 100.0
    moved = faulty(recording, known, "bias:mgt=8@100")["mgt"]
    np.testing.assert_allclose((moved - clean)[late], 8.0)
    assert np.array_equal(moved[~late], clean[~late])
    drifted = faulty(recording, known, "drift:mgt=36@100")["mgt"]
    np.testing.assert_allclose((drifted - clean)[late], 0.01 * (recording.time[late] - 100.0), atol=1e-9)
    assert faulty(recording, known, "saturated:mgt=726.8")["mgt"].max() == pytest.approx(999.95)


def test_stuck_between_two_times(recording: Recording, known: TypeFile) -> None:
    seen = faulty(recording, known, "stuck:torque@200-300")["torque"]
    inside = (recording.time >= 200) & (recording.time <= 300)
    assert np.ptp(seen[inside]) == 0.0
    assert np.array_equal(seen[~inside], recording["torque"][~inside])


def test_spikes_are_rare_and_large(recording: Recording, known: TypeFile) -> None:
    off = np.abs(faulty(recording, known, "spikes:mgt=150")["mgt"] - recording["mgt"])
    assert set(np.round(off, 6)) == {0.0, 150.0}
    assert 10 <= np.count_nonzero(off) <= 60  # one in 20 s over 600 s: Poisson, mean 30


def test_swap_missing_and_label(recording: Recording, known: TypeFile) -> None:
    swapped = faulty(recording, known, "swapped:ng=np")
    assert np.array_equal(swapped["ng"], recording["np"])
    assert np.array_equal(swapped["np"], recording["ng"])
    assert "rh" not in faulty(recording, known, "missing:rh")
    labelled = faulty(recording, known, "label:torque=CH17")
    assert "torque" not in labelled
    assert labelled.series["CH17"].entered_name == "CH17"


def test_faults_of_the_logger(recording: Recording, known: TypeFile) -> None:
    gap = faulty(recording, known, "gap@100-130")
    assert gap.rows == recording.rows - 61
    assert np.diff(gap.time).max() == pytest.approx(31.0)
    hole = faulty(recording, known, "gap:rh@100-130")["rh"]
    assert np.isnan(hole).sum() == 61
    still = faulty(recording, known, "repeated_time@100-110").time
    assert np.count_nonzero(np.diff(still) == 0.0) == 20
    assert np.diff(faulty(recording, known, "backward_time=5@300").time).min() == pytest.approx(-4.5)


@pytest.mark.parametrize(
    "text", ["bias:mgt", "bias:nothing=3", "melted:mgt", "bias=3", "swapped:ng=nothing", "bias:mgt=warm", ""]
)
def test_a_fault_that_makes_no_sense_is_refused(recording: Recording, known: TypeFile, text: str) -> None:
    with pytest.raises(InputError):
        faulty(recording, known, text)


def test_every_kind_can_be_planted(recording: Recording, known: TypeFile) -> None:
    values = {"swapped": "np", "unit": "percent", "label": "CH1"}
    for kind in KINDS:
        value = values.get(kind, "3")
        seen = faulty(recording, known, f"{kind}:ng={value}@50-580")
        same = set(seen.series) == set(recording.series) and np.array_equal(seen.time, recording.time)
        assert not (same and np.array_equal(seen["ng"], recording["ng"])), kind
