"""Scores of the contestants on the same blind runs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from _diagnosis_contest import FOUND_BELOW, Answer, Row
from _diagnosis_rig import SIZES

BOUND = 2.0
"""Causes whose effects can come this near, in units of the scatter, count as inseparable: the true model
itself would take one for the other more than once in six times (1 - Phi(1))."""
BINS = 10
MIXED = ("healthy", "drawn", "sensor", "pair")
"""Sets that together have the shares of causes and sizes that the contestants are told."""
Groups = Mapping[str, frozenset[str]]


def inseparable(effects: Mapping[str, Sequence[np.ndarray]]) -> dict[float, Groups]:
    """Groups of causes by size: complete linkage of the least distances of their effects.

    `effects` gives, for each cause, its effect in units of the scatter at every signed size of a fine grid,
    first those at each of SIZES.
    """
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import cdist, squareform

    ids = list(effects)
    out = {}
    for k, size in enumerate(SIZES):
        far = np.zeros((len(ids), len(ids)))
        for i, a in enumerate(ids):
            own = effects[a][0][k::5]
            for j, b in enumerate(ids):
                far[i, j] = cdist(own, effects[b][1]).min() if i != j else 0.0
        near = np.minimum(far, far.T)
        label = fcluster(linkage(squareform(near, checks=False), "complete"), BOUND, "distance")
        members: dict[int, list[str]] = {}
        for cause, n in zip(ids, label, strict=True):
            members.setdefault(int(n), []).append(cause)
        out[size] = {c: frozenset(m) for m in members.values() for c in m}
    return out


@dataclass
class Scores:
    """All that is told of one sensor set: figures, groups by size, wrong answers, right ones by cause."""

    figures: dict[str, float] = field(default_factory=dict)
    groups: Mapping[float, Groups] = field(default_factory=dict)
    confusions: dict[str, list[str]] = field(default_factory=dict)
    by_cause: dict[str, dict[str, str]] = field(default_factory=dict)


def scores(rows: Sequence[Row], groups: Mapping[float, Groups]) -> Scores:
    """Score the rows of one sensor set."""
    out = Scores(groups=groups)
    names = list(rows[0].answers)
    by_set: dict[str, list[Row]] = {}
    for r in rows:
        by_set.setdefault(r.set, []).append(r)
    for name in names:
        for title, chosen in by_set.items():
            answers = [r.answers[name] for r in chosen]
            _of_set(out.figures, f"{title}: {name}", chosen, answers, groups)
        if name.startswith("least squares"):
            continue
        mixed = [(r, r.answers[name]) for r in rows if r.set in MIXED]
        _honesty(out.figures, f"mixed: {name}", mixed)
    _paired(out.figures, by_set, "product", [n for n in names if n.startswith("ceiling")])
    for title, chosen in by_set.items():
        out.confusions[title] = _confusions(chosen, "product")
        if title.startswith(("size", "drawn", "sensor")):
            out.by_cause[title] = _by_cause(chosen, ("product", "ceiling"))
    return out


def right(row: Row, answer: Answer) -> bool:
    """Whether the most probable explanation is what is true."""
    return answer.top == row.ids


def _of_set(
    out: dict[str, float],
    title: str,
    rows: Sequence[Row],
    answers: Sequence[Answer],
    groups: Mapping[float, Groups],
) -> None:
    pairs = list(zip(rows, answers, strict=True))
    out[f"{title}, right"] = _mean(right(r, a) for r, a in pairs)
    out[f"{title}, alarm"] = _mean(a.healthy < FOUND_BELOW for _, a in pairs)
    kind = rows[0].set
    if kind.startswith("size"):
        table = groups[float(kind.split()[1])]
        hit = [len(a.top) == 1 and a.top[0] in table[r.ids[0]] for r, a in pairs]
        out[f"{title}, right group"] = _mean(hit)
        out[f"{title}, right group over its size"] = _mean(
            h / len(table[r.ids[0]]) for h, (r, _) in zip(hit, pairs, strict=True)
        )
    if kind == "pair":
        out[f"{title}, at least one named"] = _mean(bool(set(r.ids) & set(a.top)) for r, a in pairs)
        out[f"{title}, two named and one of them right"] = _mean(
            len(a.top) == 2 and bool(set(r.ids) & set(a.top)) for r, a in pairs
        )
    if kind == "sensor":
        out[f"{title}, right reading in the explanation"] = _mean(r.ids[0] in a.top for r, a in pairs)
        out[f"{title}, a module accused"] = _mean(
            any(not i.startswith("reading:") for i in a.top) for _, a in pairs
        )
    held = [a.interval[0] <= r.sizes[0] <= a.interval[1] for r, a in pairs if a.interval and kind != "sensor"]
    if held:
        out[f"{title}, 90 % intervals that hold"] = _mean(held)


def _honesty(out: dict[str, float], title: str, pairs: Sequence[tuple[Row, Answer]]) -> None:
    out[f"{title}, Brier score"] = _mean(a.brier for _, a in pairs)
    out[f"{title}, calibration error of the top explanation"] = calibration_error(
        np.array([a.top_probability for _, a in pairs]), np.array([right(r, a) for r, a in pairs])
    )
    out[f"{title}, calibration error of nothing wrong"] = calibration_error(
        np.array([a.healthy for _, a in pairs]), np.array([r.ids == () for r, _ in pairs])
    )
    out[f"{title}, mean of the top probability less part right"] = _mean(
        a.top_probability - right(r, a) for r, a in pairs
    )


def calibration_error(stated: np.ndarray, happened: np.ndarray) -> float:
    """Mean distance of stated probability and frequency over bins of stated probability, weighed by cases."""
    which = np.minimum((stated * BINS).astype(int), BINS - 1)
    gaps = [abs(float(np.sum(stated[which == b] - happened[which == b]))) for b in range(BINS)]
    return sum(gaps) / len(stated)


def _paired(
    out: dict[str, float], by_set: Mapping[str, Sequence[Row]], name: str, others: Sequence[str]
) -> None:
    for other in others:
        for title, rows in by_set.items():
            d = [float(right(r, r.answers[name])) - right(r, r.answers[other]) for r in rows]
            out[f"{title}: {name} less {other}"] = float(np.mean(d))
            out[f"{title}: {name} less {other}, standard error"] = float(np.std(d) / np.sqrt(len(d)))


def _confusions(rows: Sequence[Row], name: str) -> list[str]:
    """The commonest wrong answers, with what the ceiling says in the same runs."""
    count: Counter[tuple[tuple[str, ...], tuple[str, ...]]] = Counter()
    ceiling: Counter[tuple[tuple[str, ...], tuple[str, ...]]] = Counter()
    for r in rows:
        if not right(r, r.answers[name]):
            count[r.ids, r.answers[name].top] += 1
        if "ceiling" in r.answers and not right(r, r.answers["ceiling"]):
            ceiling[r.ids, r.answers["ceiling"].top] += 1
    return [
        f"{'+'.join(a) or 'healthy'} -> {'+'.join(b) or 'healthy'}: {n} (ceiling {ceiling[a, b]})"
        for (a, b), n in count.most_common(12)
    ]


def _by_cause(rows: Sequence[Row], names: Sequence[str]) -> dict[str, str]:
    """Right answers by what is true."""
    found: dict[str, list[Row]] = {}
    for r in rows:
        found.setdefault(r.ids[0], []).append(r)
    return {
        cause: f"{len(own)} runs; "
        + ", ".join(f"{n} {sum(right(r, r.answers[n]) for r in own)}" for n in names if n in own[0].answers)
        for cause, own in sorted(found.items())
    }


def _mean(values: Iterable[float]) -> float:
    return float(np.mean(list(values)))
