"""The contest's figures as the page and the JSON file show them."""

from __future__ import annotations

from collections.abc import Mapping

from _diagnosis_rig import SIZES
from _diagnosis_rivals import WAYS
from _diagnosis_score import BOUND, MIXED, Scores

SETS = (*(f"size {s:g}" for s in SIZES), "drawn", "healthy", "sensor", "pair")
_CEILINGS = ("ceiling", "ceiling that knows the five sizes")


def holds(found: Mapping[str, Scores]) -> bool:
    """Whether every target is met with either sensor set."""
    return all(met for s in found.values() for _, _, met in _targets(s))


def _targets(s: Scores) -> list[tuple[str, str, bool]]:
    """Each target, what was measured, and whether that meets it."""
    f, out = s.figures, []
    for x in SIZES:
        behind = f[f"size {x:g}: product less ceiling"]
        out.append((f"within 3 points of the ceiling at size {x:g}", f"{100 * behind:+.1f}", behind >= -0.03))
    alarms = f["healthy: product, alarm"]
    out.append(("alarms in at most 0.7 % of healthy runs", f"{alarms:.2%}", alarms <= 0.007))
    for what in ("the top explanation", "nothing wrong"):
        error = f[f"mixed: product, calibration error of {what}"]
        out.append((f"calibration error of {what} at most 0.02", f"{error:.4f}", error <= 0.02))
    hold = f["drawn: product, 90 % intervals that hold"]
    out.append(("89 to 91 % of the 90 % intervals hold", f"{hold:.1%}", 0.89 <= hold <= 0.91))
    return out


def verdicts(found: Mapping[str, Scores]) -> dict[str, str]:
    """Every target, with either sensor set; none without the ceiling."""
    out: dict[str, str] = {}
    for sensors, s in found.items():
        if f"size {SIZES[0]:g}: product less ceiling" in s.figures:
            lines = [f"{what}: {seen}, {'met' if met else 'MISSED'}" for what, seen, met in _targets(s)]
            out[f"{sensors}; targets"] = "; ".join(lines)
    return out


def table(found: Mapping[str, Scores]) -> dict[str, str]:
    """The figures, a line each."""
    out: dict[str, str] = {}
    for sensors, s in found.items():
        f = s.figures
        for title in SETS:
            if f"{title}: product, right" in f:
                out[f"{sensors}; {title}: right"] = _right(f, title)
        for size in SIZES:
            title = f"size {size:g}"
            out[f"{sensors}; {title}: right group (over its size)"] = _groups(f, title)
            out[f"{sensors}; {title}: inseparable (nearer than {BOUND:g} in units of scatter)"] = _members(
                s, size
            )
        out[f"{sensors}; alarms"] = ", ".join(f"{t} {f[f'{t}: product, alarm']:.2%}" for t in SETS)
        out |= {f"{sensors}; {what}": text for what, text in _rest(f).items()}
    return out


def _right(f: Mapping[str, float], title: str) -> str:
    """Right answers of all contestants, and the product against the ceiling on the same runs."""
    text = [f"product {f[f'{title}: product, right']:.1%}"]
    for name in _CEILINGS:
        if f"{title}: {name}, right" in f:
            d, e = (100.0 * f[f"{title}: product less {name}{x}"] for x in ("", ", standard error"))
            text.append(f"{name} {f[f'{title}: {name}, right']:.1%} (product {d:+.1f} ± {e:.1f} points)")
    text += [f"{way} {f[f'{title}: {way}, right']:.1%}" for way in WAYS]
    return "; ".join(text)


def _groups(f: Mapping[str, float], title: str) -> str:
    what = ", right group"
    names = ("product", *(n for n in _CEILINGS[:1] if f"{title}: {n}{what}" in f), *WAYS)
    return "; ".join(
        f"{n} {f[f'{title}: {n}{what}']:.1%} ({f[f'{title}: {n}{what} over its size']:.1%})" for n in names
    )


def _members(s: Scores, size: float) -> str:
    several = sorted({" / ".join(sorted(g)) for g in s.groups[size].values() if len(g) > 1})
    return "; ".join(several) or "none"


def _rest(f: Mapping[str, float]) -> dict[str, str]:
    names = ("product", *(n for n in _CEILINGS[:1] if f"mixed: {n}, Brier score" in f))
    shown = {
        f"{what} ({', '.join(MIXED)} together)": "; ".join(
            f"{n} {f[f'mixed: {n}, {what}']:.4f}" for n in names
        )
        for what in (
            "Brier score",
            "calibration error of the top explanation",
            "calibration error of nothing wrong",
            "mean of the top probability less part right",
        )
    }
    sets = [t for t in SETS if f"{t}: product, 90 % intervals that hold" in f]
    shown["90 % intervals of size that hold"] = ", ".join(
        f"{t} {f[f'{t}: product, 90 % intervals that hold']:.1%}" for t in sets
    )
    for title, what in (
        ("sensor", "right reading in the explanation"),
        ("sensor", "a module accused"),
        ("pair", "at least one named"),
        ("pair", "two named and one of them right"),
    ):
        shown[f"{title}: {what}"] = "; ".join(f"{n} {f[f'{title}: {n}, {what}']:.1%}" for n in names)
    return shown
