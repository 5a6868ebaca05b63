"""Starting and running down: closed forms of a rotor under known torques, and the balance at idle."""

from __future__ import annotations

import math

import numpy as np
import pytest

from spoolwright.rig.draws import stream
from spoolwright.rig.sub_idle import STEP, IdlePoint, StartSystem, SubIdle, drawn_start_system

RAD = math.pi / 30.0
IDLE = IdlePoint(
    ng=26000.0, rated_ng=38400.0, np_speed=5840.0, air_flow=1.6, fuel_flow=0.019, t2=288.15, t3=450.0,
    t45=760.0, t5=725.0, p2=1.0e5, p3=3.7e5, p45=1.36e5, ambient=1.005e5, torque=90.0, inertia=0.0143,
    output_inertia=3.5, accessory_power=3600.0, heating_value=43.1e6,
)  # fmt: skip


@pytest.fixture
def start() -> StartSystem:
    return drawn_start_system(IDLE, 1.0, 0.0, stream(1, "start"))


def test_idle_is_in_balance(start: StartSystem) -> None:
    """With the fuel flow of the matched idle point the rotor neither gains nor loses speed there."""
    up = SubIdle(IDLE, start).start_up(120.0)
    assert up["ng"][-1] == pytest.approx(IDLE.ng, rel=1e-4)
    assert up["fuel_flow"][-1] == pytest.approx(IDLE.fuel_flow, rel=1e-3)
    assert up["mgt"][-1] == pytest.approx(IDLE.t45, abs=1.0)
    assert up["np"][-1] == pytest.approx(IDLE.np_speed, rel=0.02)


def test_a_start_rises_lights_and_peaks(start: StartSystem) -> None:
    up = SubIdle(IDLE, start).start_up(60.0)
    assert np.all(np.diff(up["ng"]) > -1e-9)
    lit = int(np.argmax(up["mgt"] > IDLE.t2 + 40.0))
    fuel_on = int(np.argmax(up["fuel_flow"] > 0.0))
    assert start.light_off_delay < (lit - fuel_on) * STEP < start.light_off_delay + 1.0
    assert up["mgt"][:fuel_on].max() < IDLE.t2 + 15.0
    assert up["mgt"].max() > IDLE.t45
    assert up["starter"][0] == 1.0 and up["starter"][-1] == 0.0
    assert np.all(up["ignition"][up["fuel_flow"] == 0.0] == 0.0)


def test_more_start_fuel_is_hotter_and_faster(start: StartSystem) -> None:
    rich = drawn_start_system(IDLE, 1.2, 0.0, stream(1, "start"))
    usual, hot = (SubIdle(IDLE, s).start_up(60.0) for s in (start, rich))
    assert hot["mgt"].max() > usual["mgt"].max() + 50.0
    idle = [np.argmax(t["ng"] > 0.98 * IDLE.ng) for t in (usual, hot)]
    assert idle[1] < idle[0]


def test_starter_alone_obeys_its_torque_line(start: StartSystem) -> None:
    """At first only the starter acts: speed after 0.2 s is (torque - friction) / inertia * time within a
    tenth.
    """
    up = SubIdle(IDLE, start).start_up(1.0)
    expected = (start.starter_torque - start.friction) / IDLE.inertia * 0.2 / RAD
    assert np.interp(0.2, up["time"], up["ng"]) == pytest.approx(expected, rel=0.10)


def test_the_end_of_a_coast_down_is_friction_alone(start: StartSystem) -> None:
    """A rotor slowed by a constant torque T loses T / I of speed a second."""
    down = SubIdle(IDLE, start).run_down(IDLE.np_speed)
    slow = (down["ng"] < 250.0) & (down["ng"] > 50.0)
    rate = -np.polyfit(down["time"][slow], down["ng"][slow] * RAD, 1)[0]
    friction = start.friction / IDLE.inertia
    # what the compressor still takes at 1 % speed adds a little
    assert friction < rate < 1.3 * friction
    assert np.all(np.diff(down["ng"]) <= 1e-9)


def test_a_rub_shortens_the_coast_down(start: StartSystem) -> None:
    rubbing = drawn_start_system(IDLE, 1.0, 0.1, stream(1, "start"))
    times = [
        np.argmax(SubIdle(IDLE, s).run_down(IDLE.np_speed)["ng"] < 100.0) * STEP for s in (start, rubbing)
    ]
    assert times[1] < 0.6 * times[0]
