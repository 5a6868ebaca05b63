"""Small made-up diagnoses, one of every outcome, to test how reports show them. Every number is invented."""

from __future__ import annotations

from datetime import UTC, datetime

from spoolwright.crafts.testcell.diagnosis.model import (
    Check,
    Diagnosis,
    Evidence,
    Group,
    Magnitude,
    MarginAfter,
    Pair,
    Residual,
    Sister,
    Suspect,
)
from spoolwright.crafts.testcell.model import Derivation, Figure, Finding, Input, RunRef

HOSTILE = '</script><script>alert("x")</script>#panic[*]'
CALM = (0.12, -0.21, 0.05, -0.08, 0.17, -0.11)
"""Invented scatter of six points, in standard uncertainties times five."""
OUTPUTS = {
    # name, standard uncertainty, what 1 % of fouling would do; all in per cent, the angle in rad times 100
    "power": ("Power", 0.45, -1.9),
    "measured_gas_temperature": ("Measured gas temperature MGT", 0.30, -0.15),
    "T3": ("Compressor discharge temperature", 0.22, 0.06),
    "p3": ("Compressor discharge pressure", 0.28, -1.0),
    "p45": ("Pressure between the turbines", 0.33, -0.95),
    "fuel_flow": ("Fuel flow", 0.38, -1.45),
    "vane_angle": ("Vane angle", 0.60, 0.0),
}


def figure(value: float, u: float, kind: str, how: str) -> Figure:
    unit, shown_in, also, dimension = {
        "power": ("W", "kW", "hp", "power"),
        "temperature": ("K", "K diff", "degF diff", "temperature difference"),
        "speed": ("rpm", "rpm", "", "speed"),
    }[kind]
    return Figure(
        value=value, unit=unit, shown_in=shown_in, also_in=also, dimension=dimension, difference=True,
        standard_uncertainty=u, how=how,
    )  # fmt: skip


def margins(gain: float = 1.0) -> tuple[MarginAfter, ...]:
    rows = (
        ("take_off", "power_at_rated_mgt", "power", -14.2e3, 5.1e3, 31.0e3),
        ("take_off", "mgt_at_rated_power", "temperature", -6.4, 2.4, 15.5),
        ("max_continuous", "power_at_rated_mgt", "power", 3.1e3, 4.6e3, 26.4e3),
        ("max_continuous", "mgt_at_rated_power", "temperature", 1.8, 2.2, 13.1),
    )
    return tuple(
        MarginAfter(
            rating=rating,
            quantity=quantity,
            now=figure(now, u, kind, f"now-{i}"),
            after=figure(now + gain * more, 1.3 * u, kind, f"after-{i}"),
            limit=f"{quantity}_{rating}",
        )
        for i, (rating, quantity, kind, now, u, more) in enumerate(rows)
    )


DERIVATIONS = {
    f"{when}-{i}": Derivation(
        id=f"{when}-{i}", title=f"Margin {i}, {when}", calculation=f"margin_{when}", version="1",
        formula="margin of the run" if when == "now" else "margin by the model with the cause at zero",
        inputs=(Input(name="size", value=2.3, unit="%", origin="size:compressor_fouling"),),
        reference="Demonstration manual, revision 3, paragraph 5-1",
    )
    for when in ("now", "after")
    for i in range(4)
}  # fmt: skip
FOR = (
    Evidence(
        what="Compressor discharge pressure",
        seen="2.2 % low at all six points",
        expected="2.3 % low",
        weight=9.6,
    ),
    Evidence(what="Power", seen="4.3 % low", expected="4.4 % low", weight=5.2),
    Evidence(what="Fuel flow", seen="3.2 % low", expected="3.3 % low", weight=2.4),
)
AGAINST = (
    Evidence(what="Vane angle", seen="0.1° closed", expected="unchanged", weight=-0.2),
    Evidence(
        what="Coast-down time", seen="as the average engine", expected="as the average engine", weight=-0.01
    ),
)


def suspect(
    id: str, text: str, module: str, probability: float, size: tuple[float, float, float], **more: object
) -> Suspect:
    told = {
        "kind": "module", "alone": 0.95 * probability, "words": "", "evidence_for": FOR,
        "evidence_against": AGAINST, "unit": "% of flow", **more,
    }  # fmt: skip
    unit = told.pop("unit")
    return Suspect(
        id=id, text=text, module=module.replace(" ", "_"), module_name=module.capitalize(),
        probability=probability, magnitude=Magnitude(mean=size[0], low=size[1], high=size[2], unit=unit),
        **told,
    )  # type: ignore[arg-type]  # fmt: skip


FOULED = suspect(
    "compressor_fouling", "Compressor fouled", "compressor", 0.58, (2.3, 1.8, 2.9), margins=margins(),
    reopen="Nothing: wash in the cell", hours=3.0, cost=240.0,
)  # fmt: skip
ERODED = suspect(
    "compressor_erosion", "Compressor eroded, or damaged by a foreign object", "compressor", 0.35,
    (2.1, 1.6, 2.7), margins=margins(0.9), reopen="Gas generator, compressor case", hours=46.0, cost=11_800.0,
)  # fmt: skip
WORN = suspect(
    "power_turbine_efficiency", "Power turbine worn", "power turbine", 0.021, (0.8, 0.3, 1.6),
    unit="% of efficiency", reopen="Power turbine module", hours=28.0, cost=7_400.0,
)  # fmt: skip
SENSOR = suspect(
    "reading:p3", "Compressor discharge pressure reads wrong", "compressor discharge pressure", 0.013,
    (-4.0, -6.2, -2.6), unit="standard uncertainties", kind="reading", hours=1.5, cost=0.0,
    reopen="Nothing: check the transducer against the standard",
)  # fmt: skip
CHECKS = (
    Check(
        id="wash", text="Wash the compressor, repeat the take-off and max continuous points",
        information=0.81, hours=3.0, cost=240.0, per_hour=0.25,
        why="tells fouling, which a wash mends, from erosion, which it does not",
    ),
    Check(
        id="borescope_1", text="Borescope of compressor stage 1", information=0.74,
        hours=1.5, cost=60.0, per_hour=0.47, why="tells a dirty blade from an eroded or nicked one",
    ),
    Check(
        id="calibrate_p3", text="Check of the compressor discharge pressure transducer against the standard",
        information=0.06, hours=1.5, cost=0.0, per_hour=0.04,
        why="tells a wrong reading from a real loss of pressure",
    ),
)  # fmt: skip
RUN = RunRef(
    run="1", file="H4417-1.parquet", sha256="1" * 64, rows=42_310,
    started_at=datetime(2026, 5, 12, 8, 4, tzinfo=UTC), duration_s=4231.0,
    engine_serial="H4417", cell="cell_2", limit_set="repaired",
)  # fmt: skip
NOTE = Finding(
    id="1.D1", run="1", kind="drift", channels=("t5",), from_s=600.0, to_s=2400.0,
    text="The reading creeps by 4 K.", mend="Check the junction.", bars_use=False,
)  # fmt: skip


def residuals(size: float, explained: float | None = None) -> tuple[Residual, ...]:
    return tuple(
        Residual(
            output=output, name=name, point=f"1.{3 + 2 * i}",
            value=0.01 * (slope * size * (1.0 - 0.04 * i) + 5.0 * scatter * u * (1 if k % 2 else -1)),
            standard_uncertainty=0.01 * u,
            explained=0.01 * slope * (size if explained is None else explained) * (1.0 - 0.04 * i),
        )
        for k, (output, (name, u, slope)) in enumerate(OUTPUTS.items())
        for i, scatter in enumerate(CALM)
    )  # fmt: skip


PAIR = Pair(
    causes=("compressor_fouling", "power_turbine_efficiency"), probability=0.011,
    magnitudes=(FOULED.magnitude, WORN.magnitude),
)  # fmt: skip
GROUP = Group(
    causes=("compressor_fouling", "compressor_erosion"), probability=0.93,
    reason="Both lose flow and efficiency in nearly the same ratio: seen from these channels, "
    "their effects differ by less than the scatter of builds.",
)  # fmt: skip
SISTER = Sister(
    engine="H4392", released_on="2026-03-02", shares=("blade lot 77-C (invented)",),
    text="Released with compressor blades of the same lot.",
)  # fmt: skip


def group_found() -> Diagnosis:
    return Diagnosis(
        program="Spoolwright 0.1.0",
        type_id="demo",
        type_name="Demo type",
        type_file_sha256="0" * 64,
        demonstration=True,
        engine_serial="H4417",
        baseline="The average engine rests on 41 accepted runs of 33 engines in cells 1 and 2 (invented).",
        baseline_sha256="b" * 64,
        outcome="group_found",
        sentence="The compressor has lost 2.3 % of its flow (1.8 to 2.9): fouled, or eroded; "
        "these readings cannot tell which (93 % together).",
        proposal="Proposed: look at compressor stage 1 with the borescope (1.5 h) before anything is opened; "
        "if it is dirty only, wash and repeat the take-off point. Accepted by: ____",
        healthy=0.004,
        outside=0.42,
        priors="Before the run was looked at: nothing wrong 50 %, a module 32 %, a reading 10 %, "
        "two at once 8 %.",
        suspects=(FOULED, ERODED, WORN, SENSOR),
        pairs=(PAIR,),
        groups=(GROUP,),
        checks=CHECKS,
        currency="EUR",
        sisters=(SISTER,),
        residuals=residuals(2.3),
        runs=(RUN,),
        earlier=("visit V-1877, run 2 of 2024-11-03",),
        left_out=("Point 1.9: not steady, MGT still rose.",
                  "Exhaust temperature: one probe in doubt, see findings."),
        findings=(NOTE,),
        derivations=DERIVATIONS,
        cautions=("The approved manual governs. An entitled person decides what is opened.",),
    )  # fmt: skip


def cause_found() -> Diagnosis:
    fouled = FOULED.model_copy(update={"probability": 0.962, "alone": 0.94})
    eroded = ERODED.model_copy(update={"probability": 0.019, "alone": 0.015})
    return group_found().model_copy(
        update={
            "outcome": "cause_found",
            "sentence": "The compressor is fouled: 2.3 % of flow (1.8 to 2.9), probability 96 %.",
            "proposal": "Wash the compressor and repeat the take-off point.",
            "suspects": (fouled, eroded, WORN, SENSOR),
            "groups": (),
        }
    )


def nothing_found() -> Diagnosis:
    small = [
        s.model_copy(update={"probability": p, "alone": p, "margins": ()})
        for s, p in ((FOULED, 0.011), (WORN, 0.008))
    ]
    return group_found().model_copy(
        update={
            "outcome": "nothing_found",
            "sentence": "Nothing wrong is seen: the run lies within the scatter of good builds (96 %).",
            "proposal": "Nothing is to be opened on this evidence.",
            "healthy": 0.964,
            "suspects": tuple(small),
            "groups": (),
            "pairs": (),
            "checks": (),
            "sisters": (),
            "residuals": residuals(0.1, 0.0),
        }
    )


def cannot_tell() -> Diagnosis:
    return group_found().model_copy(
        update={
            "outcome": "cannot_tell",
            "sentence": "Cannot tell: one steady point and no fuel flow are too little to weigh causes.",
            "proposal": "Repeat the run with three holds, fuel meter connected.",
            "healthy": 0.48,
            "outside": 0.31,
            "suspects": (),
            "groups": (),
            "pairs": (),
            "checks": (),
            "sisters": (),
            "residuals": (),
            "derivations": {},
        }
    )


def sensor_wrong() -> Diagnosis:
    wrong = SENSOR.model_copy(update={"probability": 0.974, "alone": 0.961})
    fouled = FOULED.model_copy(update={"probability": 0.012, "alone": 0.008})
    return group_found().model_copy(
        update={
            "outcome": "cause_found",
            "sentence": "The reading of the compressor discharge pressure is wrong, by "
            "−4.0 standard uncertainties.",
            "proposal": "Check the transducer against the standard; open nothing.",
            "suspects": (fouled, wrong),
            "groups": (),
            "pairs": (),
        }
    )


def two_found() -> Diagnosis:
    fouled = FOULED.model_copy(update={"probability": 0.91, "alone": 0.12})
    worn = WORN.model_copy(update={"probability": 0.79, "alone": 0.01, "margins": margins(0.4)})
    pair = group_found().pairs[0].model_copy(update={"probability": 0.77})
    return group_found().model_copy(
        update={
            "outcome": "cause_found",
            "sentence": "Two causes at once: compressor fouled and power turbine worn (77 %).",
            "proposal": "Wash the compressor, repeat the take-off point, then decide on the power turbine.",
            "suspects": (fouled, worn, ERODED.model_copy(update={"probability": 0.08, "alone": 0.03})),
            "pairs": (pair,),
            "groups": (),
            "outside": 0.0006,
        }
    )


def hostile() -> Diagnosis:
    d = group_found()
    bad = FOULED.model_copy(update={"text": HOSTILE, "reopen": HOSTILE, "module_name": HOSTILE})
    return d.model_copy(
        update={
            "suspects": (bad, ERODED),
            "sentence": HOSTILE,
            "proposal": HOSTILE,
            "baseline": HOSTILE,
            "left_out": (HOSTILE,),
            "cautions": (HOSTILE,),
            "checks": (CHECKS[0].model_copy(update={"text": HOSTILE}),),
            "findings": (NOTE.model_copy(update={"text": HOSTILE}),),
            "residuals": tuple(r.model_copy(update={"name": HOSTILE}) for r in d.residuals),
        }
    )


CASES = {
    "group": group_found,
    "cause": cause_found,
    "nothing": nothing_found,
    "cannot_tell": cannot_tell,
    "sensor": sensor_wrong,
    "two": two_found,
}
