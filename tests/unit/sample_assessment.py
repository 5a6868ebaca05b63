"""A small made-up assessment with one of everything, to test how reports show it. Numbers mean nothing."""

from __future__ import annotations

from datetime import UTC, datetime

from spoolwright.crafts.testcell.model import (
    Assessment,
    CorrectedQuantity,
    Curve,
    CurvePoint,
    Derivation,
    Disposition,
    Event,
    Figure,
    Finding,
    GateState,
    Input,
    LadderStep,
    Point,
    RatedValue,
    Reading,
    RunRef,
    ScheduleState,
    Segment,
    Steadiness,
    Strip,
    Verdict,
)

HOSTILE = '</script><script>alert("x")</script>#panic[*]'


def figure(
    value: float, unit: str, shown_in: str, also: str, dimension: str, u: float | None = None
) -> Figure:
    return Figure(
        value=value,
        unit=unit,
        shown_in=shown_in,
        also_in=also,
        dimension=dimension,
        standard_uncertainty=u,
        how="d1",
    )


def verdict(name: str, outcome: str, reading: Figure, limit: Figure, bound: str, margin: float) -> Verdict:
    conforms = {"meets": 0.97, "does_not_meet": 0.02, "cannot_tell": None}[outcome]
    return Verdict(
        id=name,
        limit=name,
        name=name,
        outcome=outcome,
        sentence=f"Reading {outcome} limit {name}.",
        run="1",
        point="p1",
        rating="takeoff",
        reading=reading,
        limit_value=limit,
        bound=bound,
        margin=reading.model_copy(update={"value": margin, "difference": True}),
        probability_conforming=conforms,
        consumer_risk=0.03,
        producer_risk=0.02,
        why=("The wind was not recorded.",) if outcome == "cannot_tell" else (),
        next_step="Repeat the point twice." if outcome != "meets" else "",
        action="Reject the engine.",
        source="Test manual, revision 3, paragraph 5-3",
    )


POWER = figure(951.2e3, "W", "kW", "hp", "power", 2.1e3)
MGT = figure(1071.3, "K", "degC", "degF", "temperature", 1.7)


def corrected() -> CorrectedQuantity:
    ladder = (
        LadderStep(name="observed", value=POWER),
        LadderStep(name="temperature θ", factor=1.0123, value=POWER),
        LadderStep(name="humidity", factor=0.9987, value=POWER),
    )
    gap = POWER.model_copy(update={"value": 900.0, "difference": True})
    return CorrectedQuantity(
        quantity="power", observed=POWER, ladder=ladder, approved=POWER, model=POWER, difference=gap
    )


def point() -> Point:
    return Point(
        id="p1",
        run="1",
        from_s=600.0,
        to_s=660.0,
        schedule_item="takeoff_1",
        rating="takeoff",
        block=0,
        steady=True,
        usable=True,
        steadiness=(Steadiness(channel="ng", drift=4.0, allowed=40.0, unit="rpm", met=True),),
        readings=(
            Reading(
                channel="mgt",
                name="Measured gas temperature",
                mean=MGT,
                random=0.2,
                systematic=1.7,
                effective_samples=60.0,
            ),
        ),
        corrected=(corrected(),),
    )


def curve() -> Curve:
    x = tuple(1000.0 + 10 * i for i in range(9))
    y = tuple(7e5 + 3.2e4 * i for i in range(9))
    points = tuple(
        CurvePoint(x=a, y=b, ux=1.5, uy=2e3, point=f"p{i}", used=i != 3)
        for i, (a, b) in enumerate(zip(x[::2], y[::2], strict=True))
    )
    return Curve(
        id="c",
        title="Corrected power against corrected MGT",
        x_quantity="measured_gas_temperature",
        y_quantity="power",
        x_unit="K",
        y_unit="W",
        method="approved",
        points=points,
        x=x,
        y=y,
        low=tuple(v - 5e3 for v in y),
        high=tuple(v + 5e3 for v in y),
        limit_lines=(("minimum power", 1000.0, 9.2e5, 1080.0, 9.2e5),),
    )


LIMIT = figure(940e3, "W", "kW", "hp", "power")
RUNS = (
    RunRef(
        run="1",
        file="run.csv",
        sha256="1" * 64,
        rows=1000,
        started_at=datetime(2026, 3, 1, tzinfo=UTC),
        duration_s=1200.0,
        engine_serial="FW-0001",
        cell="cell_1",
        limit_set="overhauled",
    ),
)
FINDINGS = (
    Finding(
        id="f1",
        run="1",
        kind="wrong_unit",
        channels=("t2",),
        from_s=0.0,
        to_s=1200.0,
        text=HOSTILE,
        mend="Sign the unit.",
        probability=0.98,
        bars_use=True,
    ),
)
GATES = (
    GateState(
        gate="wind",
        name="Wind",
        run="1",
        state="unknown",
        text="Not recorded.",
        mend="Record it.",
        source="Test manual, revision 3, paragraph 4-1",
    ),
)
RATED = (
    RatedValue(
        rating="takeoff",
        quantity="power_at_rated_mgt",
        approved=POWER,
        model=POWER,
        nominal=LIMIT,
        margin=POWER.model_copy(update={"value": 11e3, "difference": True}),
        extrapolated=False,
    ),
)
SCHEDULE = (
    ScheduleState(
        item="chip",
        name="Chip detector",
        state="open",
        text="Not signed.",
        source="Test manual, revision 3, paragraph 6-2",
    ),
)
DERIVATIONS = {
    "d1": Derivation(
        id="d1",
        title="Corrected power",
        calculation="correct",
        version="1",
        formula="P / (θ^0.62 δ)",
        inputs=(Input(name="P", value=940e3, unit="W", origin="channel torque"),),
        reference="Test manual, revision 3, paragraph 5-1",
    ),
}


def assessment() -> Assessment:
    hot = figure(1080.0, "K", "degC", "degF", "temperature")
    verdicts = (
        verdict("Power at rated MGT, take-off", "meets", POWER, LIMIT, "min", 11.2e3),
        verdict("MGT at rated power, take-off", "does_not_meet", MGT, hot, "max", -4.0),
        verdict(f"Oil pressure {HOSTILE}", "cannot_tell", MGT, hot, "max", 8.7),
    )
    return Assessment(
        program="Spoolwright 0.1.0",
        type_id="demo",
        type_name="Demo type",
        type_file_sha256="0" * 64,
        demonstration=True,
        limit_set="overhauled",
        engine_serial="FW-0001",
        filled_model_parameters=("compressor.map",),
        model_basis="Calibrated on no runs.",
        disposition=Disposition(
            outcome="some_do_not_meet",
            sentence="1 reading does not meet its limit.",
            thinnest=verdicts[0].id,
            open=("Chip detector",),
        ),
        runs=RUNS,
        findings=FINDINGS,
        gates=GATES,
        events=(
            Event(run="1", at_s=30.0, kind="start", text="start"),
            Event(run="1", at_s=600.0, kind="hold", text="take-off"),
        ),
        segments=(Segment(run="1", kind="hold", from_s=590.0, to_s=670.0),),
        points=(point(),),
        curves=(curve(),),
        rated=RATED,
        verdicts=verdicts,
        schedule=SCHEDULE,
        derivations=DERIVATIONS,
        cautions=("Defer to the approved manual.",),
    )


def strips() -> tuple[Strip, ...]:
    time = tuple(float(t) for t in range(0, 1200, 2))
    ng = tuple(None if 300 < t < 330 else 20000.0 + 10 * t for t in time)
    return tuple(
        Strip(run="1", channel=c, name=n, unit=u, time_s=time, values=ng)
        for c, n, u in (("ng", "Gas generator speed", "rpm"), ("mgt", "Measured gas temperature", "degC"))
    )
