"""Doubts about the data: what is found, what is missed, and how often a sound recording is accused.

Rig runs whose engines are bent away from the type's model, with drawn systematic errors, weather and build
scatter; every second one has a worn or damaged module. The same runs then get one fault of the data each. The
rig knows which; the doubts see recording, run sheet and type file only. Quick runs give the numbers; some
whole recordings, from rest over start, slams and shut-down to rest, stand besides.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from multiprocessing import get_context

import numpy as np

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.measurement.recording import Recording
from spoolwright.crafts.testcell.doubt.find import find
from spoolwright.crafts.testcell.model import Finding
from spoolwright.rig.module_faults import MECHANICAL_FAULTS, MODULE_FAULTS
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.record import RecordOptions, record_run
from spoolwright.rig.result import RigRun
from spoolwright.rig.sensor_faults import planted, sensor_fault
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type
from spoolwright.units import unit_of

SOUND = 2000
PLANTED = 200
SEED = 700_000
PIECE = 40
WHOLE = 24
MOST_FALSE = 0.007
"""Share of sound runs in which a channel may be accused: the project's goal for false alarms."""

PHYSICS = ("swapped", "wrong_unit", "bias", "drift", "disagreement", "implausible")
SIZES = {
    "torque": (40, 120), "dyno_torque": (40, 120), "wf": (8, 20), "qf": (10, 24), "mgt": (25, 60),
    "t3": (20, 50), "t2": (6, 15), "t_amb": (6, 15), "p_amb": (10, 30), "p2": (1, 3), "p3": (60, 120),
    "p45": (15, 40), "p5": (2, 6), "ng": (1000, 2500), "np": (350, 700), "t5": (50, 100),
    "mgt_2": (70, 150), "mgt_7": (70, 150),
}  # fmt: skip
"""Gross errors in each channel's own unit: some per cent of a reading."""
AT_REST = ["p3=25", "t3=14", "mgt=14", "torque=14", "dyno_torque=-14", "p45=9", "p5=1.5", "p2=-1"]
"""Errors that only a look at the engine at rest can tell from a worn module."""
UNITS = [
    "torque=lbf ft", "dyno_torque=lbf ft", "t2=degF", "t2=K", "t_amb=degF", "mgt=K", "mgt=degF", "t3=K",
    "t3=degF", "t5=degF", "t5=K", "p_amb=inHg", "p_amb=altitude_m", "p_amb=altitude_ft", "p2=psia",
    "p2=inHg", "p3=psia", "p45=psia", "p5=psia", "p5=inHg", "wf=lb/h", "qf=US gal/h", "ng=percent",
    "np=percent", "torque=percent", "rh=1", "mgt_3=degF", "t_fuel=degF", "t_fuel=K",
]  # fmt: skip
REVERSE = [
    "torque/lbf ft=N m", "mgt/degF=degC", "wf/lb/h=kg/h", "p3/psia=kPa", "t2/degF=degC", "p_amb/inHg=hPa",
]  # fmt: skip
SWAPS = [
    "ng=np", "t2=t3", "t3=mgt", "t5=mgt", "t3=t5", "p3=p45", "p5=p45", "p2=p3", "p2=p_amb", "p5=p2",
    "t_amb=t5",
]  # fmt: skip
SOFT = ["t_oil=K", "t_oil=degF", "p_oil=psig", "p_oil=barg", "vib_turbine=in/s"]


@dataclass(frozen=True)
class Case:
    """A fault of the data: its lines, what kinds of finding name it, and the channels concerned."""

    lines: tuple[str, ...]
    kinds: tuple[str, ...]
    channels: tuple[str, ...]
    relabel: str = ""
    size: float = 0.0


@dataclass
class Count:
    """What came of the cases of one kind."""

    cases: int = 0
    named: int = 0
    channel: int = 0
    others: int = 0
    stated: list[tuple[float, bool]] = field(default_factory=list)
    sized: list[tuple[float, bool]] = field(default_factory=list)


@lru_cache(maxsize=1)
def corrie() -> tuple[LoadedType, EngineModel]:
    """The type, and its model made once a process."""
    loaded = load_type(shipped_type())
    return loaded, EngineModel(loaded.engine)


def module_faults(i: int) -> dict[str, float]:
    """Every second engine has one worn, damaged or wrongly built module, or a mechanical fault."""
    if i % 2 == 0:
        return {}
    names = [*MODULE_FAULTS, "unbalance", "oil_loss", "oil_pressure"]
    assert set(names) <= {*MODULE_FAULTS, *MECHANICAL_FAULTS}
    g = np.random.default_rng([SEED, i])
    return {names[(i // 2) % len(names)]: float(g.uniform(0.5, 3.0))}


def _noise(channel: str) -> float:
    return next(c.noise for c in corrie()[0].type_file.channel if c.id == channel)


def _analog() -> list[str]:
    return [c.id for c in corrie()[0].type_file.channel if c.dimension != "state" and c.role != "wet_bulb"]


def _sign(g: np.random.Generator) -> float:
    return float(g.choice((-1.0, 1.0)))


def _unit(g: np.random.Generator, run: RigRun) -> Case:
    line = str(g.choice(UNITS))
    return Case((f"unit:{line}",), ("wrong_unit",), (line.split("=")[0],))


def _reverse(g: np.random.Generator, run: RigRun) -> Case:
    channel, _, rest = str(g.choice(REVERSE)).partition("/")
    label, _, true = rest.partition("=")
    return Case((f"unit:{channel}={true}",), ("wrong_unit",), (channel,), relabel=label)


def _soft(g: np.random.Generator, run: RigRun) -> Case:
    line = str(g.choice(SOFT))
    return Case((f"unit:{line}",), ("wrong_unit", "implausible"), (line.split("=")[0],))


def _swap(g: np.random.Generator, run: RigRun) -> Case:
    line = str(g.choice(SWAPS))
    return Case((f"swapped:{line}",), ("swapped",), tuple(line.split("=")))


def _bias(g: np.random.Generator, run: RigRun) -> Case:
    channel = str(g.choice(list(SIZES)))
    size = _sign(g) * g.uniform(*SIZES[channel])
    return Case((f"bias:{channel}={size:.4f}",), ("bias", "disagreement"), (channel,))


def _jump(g: np.random.Generator, run: RigRun) -> Case:
    channel = str(g.choice(list(SIZES)))
    size, at = _sign(g) * g.uniform(*SIZES[channel]), g.uniform(0.3, 0.8) * run.recording.time[-1]
    return Case((f"bias:{channel}={size:.4f}@{at:.0f}",), ("bias", "drift", "disagreement"), (channel,))


def _drift(g: np.random.Generator, run: RigRun) -> Case:
    channel = str(g.choice(list(SIZES)))
    hours = run.recording.time[-1] / 3600.0
    rate = _sign(g) * g.uniform(*SIZES[channel]) / hours
    return Case((f"drift:{channel}={rate:.4f}",), ("drift", "bias", "disagreement"), (channel,))


def _any_size(g: np.random.Generator, run: RigRun) -> Case:
    channel = str(g.choice(list(SIZES)))
    share = 10.0 ** g.uniform(-1.0, 0.6)
    size = _sign(g) * SIZES[channel][0] * share
    return Case((f"bias:{channel}={size:.4f}",), ("bias", "disagreement"), (channel,), size=share)


def _stuck(g: np.random.Generator, run: RigRun) -> Case:
    channel = str(g.choice(_analog()))
    at = g.uniform(0.15, 0.75) * run.recording.time[-1]
    until = f"-{at + g.uniform(120.0, 400.0):.0f}" if g.random() < 0.5 else ""
    return Case((f"stuck:{channel}@{at:.0f}{until}",), ("stuck",), (channel,))


def _spikes(g: np.random.Generator, run: RigRun) -> Case:
    channel = str(g.choice([c for c in _analog() if c not in ("wind", "wind_from")]))
    return Case((f"spikes:{channel}={_noise(channel) * g.uniform(15.0, 60.0):.5f}",), ("spikes",), (channel,))


def _saturated(g: np.random.Generator, run: RigRun) -> Case:
    channel = str(g.choice([c for c in SIZES if c not in ("t2", "t_amb", "p_amb", "p2", "p5", "np")]))
    x = run.recording[channel]
    known = next(c for c in corrie()[0].type_file.channel if c.id == channel)
    unit = unit_of(known.unit, known.dimension)
    level = (x.min() + g.uniform(0.7, 0.97) * (x.max() - x.min()) - unit.offset) / unit.factor
    return Case((f"saturated:{channel}={level:.5f}",), ("saturated",), (channel,))


def _gap(g: np.random.Generator, run: RigRun) -> Case:
    at, length = g.uniform(0.1, 0.8) * run.recording.time[-1], g.uniform(15.0, 120.0)
    channel = str(g.choice(_analog())) if g.random() < 0.6 else ""
    head = f"gap:{channel}" if channel else "gap"
    return Case((f"{head}@{at:.0f}-{at + length:.0f}",), ("gap",), (channel,) if channel else ())


def _repeated(g: np.random.Generator, run: RigRun) -> Case:
    at = g.uniform(0.1, 0.8) * run.recording.time[-1]
    return Case((f"repeated_time@{at:.0f}-{at + g.uniform(3.0, 60.0):.0f}",), ("time_order",), ())


def _backward(g: np.random.Generator, run: RigRun) -> Case:
    at = g.uniform(0.1, 0.8) * run.recording.time[-1]
    return Case((f"backward_time={g.uniform(2.0, 30.0):.1f}@{at:.0f}",), ("time_order",), ())


def _missing(g: np.random.Generator, run: RigRun) -> Case:
    names = [c.id for c in corrie()[0].type_file.channel if c.required]
    channel = str(g.choice(["rh", str(g.choice(names))]))
    kind = "missing" if g.random() < 0.5 else "label"
    return Case((f"{kind}:{channel}",), ("missing",), (channel,))


ANY = "bias of any size (for the calibration)"
KINDS: dict[str, Callable[[np.random.Generator, RigRun], Case]] = {
    "wrong unit": _unit, "wrong unit, label of the other system": _reverse,
    "wrong unit of oil or vibration": _soft, "swapped": _swap, "bias": _bias, "jump": _jump,
    "drift": _drift, "stuck": _stuck, "spikes": _spikes, "saturated": _saturated, "gap": _gap,
    "repeated time": _repeated, "backward time": _backward, "missing or unknown name": _missing,
    ANY: _any_size,
}  # fmt: skip
LEAST = {
    "wrong unit": 0.97, "wrong unit, label of the other system": 0.97, "wrong unit of oil or vibration": 0.97,
    "swapped": 0.95, "bias": 0.95, "jump": 0.95, "drift": 0.95, ANY: 0.0, "stuck": 0.97,
    "offset that shows at rest (whole recordings)": 0.95,
}  # fmt: skip
"""Share that must be found with the right kind and channel; 0.99 where nothing stands here."""


def spoilt(run: RigRun, case: Case, seed: int) -> Recording:
    """The run with a fault of the data in it."""
    known = corrie()[0].type_file
    recording = run.recording
    if case.relabel:
        channel = case.channels[0]
        one = replace(recording.series[channel], entered_unit=case.relabel)
        recording = replace(recording, series={**recording.series, channel: one})
    faults = [sensor_fault(line, known) for line in case.lines]
    return planted(recording, faults, known, np.random.default_rng(seed))


def doubts(recording: Recording, run: RigRun) -> Sequence[Finding]:
    """Findings, plain notes left out."""
    loaded, model = corrie()
    return [f for f in find(recording, run.sheet, loaded.type_file, model) if f.kind != "note"]


def accuses(f: Finding) -> bool:
    """Whether a finding keeps a reading from being used."""
    return f.bars_use


def score(count: Count, found: Sequence[Finding], case: Case) -> None:
    """What the findings say against what was planted."""
    truth = set(case.channels)

    def concerns(f: Finding) -> bool:
        return bool(truth & set(f.channels)) if truth else not f.channels

    count.cases += 1
    count.named += any(f.kind in case.kinds and concerns(f) for f in found)
    count.channel += any(concerns(f) for f in found)
    count.others += any(accuses(f) and not concerns(f) for f in found)
    if case.size:
        count.sized.append((case.size, any(concerns(f) for f in found)))
    for f in found:
        if f.probability is not None and f.kind in PHYSICS:
            count.stated.append((f.probability, f.channels[0] in truth))


def piece(first: int) -> tuple[dict[str, Count], Counter[str], Count]:
    """Sound runs and planted ones of a stretch of run numbers."""
    loaded, _ = corrie()
    options = QuickOptions(faults=lambda k: module_faults(first + k))
    false: Counter[str] = Counter()
    sound = Count()
    counts = {name: Count() for name in KINDS}
    runs = quick_runs(loaded.type_file, loaded.engine, min(PIECE, SOUND - first), SEED + first, options)
    for k, run in enumerate(runs):
        i = first + k
        found = [f for f in doubts(run.recording, run) if accuses(f)]
        sound.cases += 1
        sound.others += bool(found)
        for f in found:
            false[f"{f.kind} {'+'.join(f.channels)} [{dict(run.truth.day.engine.faults) or 'healthy'}]"] += 1
            if f.probability is not None and f.kind in PHYSICS:
                sound.stated.append((f.probability, False))
        for name, make in planted_in(i):
            case = make(np.random.default_rng([SEED, i, len(name)]), run)
            score(counts[name], doubts(spoilt(run, case, i), run), case)
    return counts, false, sound


def whole(n: int) -> tuple[Count, Count, Counter[str]]:
    """One whole recording, sound, and the same with an offset that shows at rest."""
    loaded, _ = corrie()
    options = RecordOptions(seed=SEED + n, rate=(5.0, 10.0, 20.0)[n % 3], faults=module_faults(n))
    run = record_run(loaded.type_file, loaded.engine, options)
    sound, rest, false = Count(cases=1), Count(), Counter[str]()
    for f in doubts(run.recording, run):
        if accuses(f):
            sound.others = 1
            false[f"{f.kind} {'+'.join(f.channels)} [whole recording]"] += 1
    line = AT_REST[n % len(AT_REST)]
    case = Case((f"bias:{line}",), ("bias",), (line.split("=")[0],))
    score(rest, doubts(spoilt(run, case, n), run), case)
    return sound, rest, false


def planted_in(i: int) -> Iterator[tuple[str, Callable[[np.random.Generator, RigRun], Case]]]:
    """Kinds of fault that run number i gets, one at a time: each kind so often as asked, spread evenly."""
    for n, (name, make) in enumerate(KINDS.items()):
        if (
            (i * PLANTED) // SOUND != ((i + 1) * PLANTED) // SOUND
            if n == 0
            else (i + n) % (SOUND // PLANTED) == 0
        ):
            yield name, make


def added(parts: Sequence[Count]) -> Count:
    """Counts of several pieces together."""
    return Count(
        sum(p.cases for p in parts), sum(p.named for p in parts), sum(p.channel for p in parts),
        sum(p.others for p in parts), [s for p in parts for s in p.stated],
        [s for p in parts for s in p.sized],
    )  # fmt: skip


def sizes(count: Count) -> dict[str, str]:
    """How detection grows with the size of an error, in shares of the gross errors asked for above."""
    out = {}
    for low, high in ((0.1, 0.25), (0.25, 0.5), (0.5, 1.0), (1.0, 4.0)):
        hit = [found for share, found in count.sized if low <= share < high]
        if hit:
            name = f"channel in doubt for errors of {low:g} to {high:g} times the least gross error"
            out[name] = f"{100 * np.mean(hit):.0f} % ({len(hit)} cases)"
    return out


def calibration(stated: Sequence[tuple[float, bool]]) -> Iterator[tuple[str, float, float, int]]:
    """Stated probabilities in bands: mean stated, share true, number."""
    for low, high in ((0.0, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 0.99), (0.99, 1.01)):
        band = [(p, true) for p, true in stated if low <= p < high]
        if band:
            name = f"{100 * low:.0f} to {min(100 * high, 100):.0f} %"
            yield name, float(np.mean([p for p, _ in band])), float(np.mean([t for _, t in band])), len(band)


def run(progress: Callable[[int, int], None]) -> dict[str, object]:
    """Measure detection, false alarms and calibration."""
    starts = list(range(0, SOUND, PIECE))
    parts = []
    with get_context("fork").Pool(os.cpu_count()) as pool:
        for k, part in enumerate(pool.imap_unordered(piece, starts)):
            parts.append(part)
            progress(k + 1, len(starts) + WHOLE)
        entire = []
        for k, one in enumerate(pool.imap_unordered(whole, range(WHOLE))):
            entire.append(one)
            progress(len(starts) + k + 1, len(starts) + WHOLE)
    counts = {name: added([p[0][name] for p in parts]) for name in KINDS}
    sound = added([p[2] for p in parts])
    counts["offset that shows at rest (whole recordings)"] = added([e[1] for e in entire])
    false = sum((p[1] for p in (*parts,)), Counter()) + sum((e[2] for e in entire), Counter())
    return report(counts, sound, added([e[0] for e in entire]), false)


def report(counts: dict[str, Count], sound: Count, entire: Count, false: Counter[str]) -> dict[str, object]:
    """Figures and whether the claim holds."""
    rate = sound.others / sound.cases
    measured = {
        "sound runs with a channel accused": f"{sound.others} of {sound.cases} ({100 * rate:.2f} %)",
        "sound whole recordings with a channel accused": f"{entire.others} of {entire.cases}",
    }
    holds = rate <= MOST_FALSE and entire.others == 0
    if false:
        measured["what was accused there"] = "; ".join(f"{k} x{n}" for k, n in false.most_common(5))
    for name, c in counts.items():
        named, channel, others = (x / c.cases for x in (c.named, c.channel, c.others))
        measured[name] = (
            f"right kind and channel {100 * named:.1f} %, channel in doubt {100 * channel:.1f} %, "
            f"another channel accused besides {100 * others:.1f} % ({c.cases} cases)"
        )
        holds &= named >= LEAST.get(name, 0.99) and c.cases >= (WHOLE if "whole" in name else PLANTED)
    measured |= sizes(counts[ANY])
    stated = [s for c in (*counts.values(), sound) for s in c.stated]
    for band, said, true, number in calibration(stated):
        measured[f"stated probability {band}"] = (
            f"said {100 * said:.1f} %, true {100 * true:.1f} % ({number} findings)"
        )
        holds &= true >= said - 3.0 * np.sqrt(max(said * (1.0 - said), 1e-3) / number) - 0.02
    return {
        "claim": (
            f"Of {SOUND} sound recordings, half of them of engines with a worn module, at most "
            f"{100 * MOST_FALSE:.1f} % have a channel accused; planted faults of the data are found with the "
            "right kind and channel in at least 99 % (rows, clock, missing channels), 97 % (units, stuck), "
            "95 % (swaps, gross bias, jumps, drifts); a stated probability is never less true than stated."
        ),
        "measured": measured,
        "cases": sound.cases + entire.cases + sum(c.cases for c in counts.values()),
        "holds": bool(holds),
    }
