"""What builds taught of the forecast's rules, on the terminal: before and after with intervals."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from spoolwright.core.diagnosis.forecast.learning import Learnt
from spoolwright.reports.figures import number, percent, printable

_NORMAL_90 = 1.6448536269514722
"""Normal coverage factor for 90 %."""


def print_learnt(learnt: Learnt, console: Console) -> None:
    """Print the update of every coefficient, those that the builds moved or narrowed most first."""
    before, after = (b.coefficients(learnt.keys) for b in (learnt.before, learnt.after))
    table = Table(box=None, pad_edge=False, header_style="dim", padding=(0, 2, 0, 0))
    table.add_column("rule", ratio=1)
    for name in ("before (90 %)", "after (90 %)", "interval narrower by"):
        table.add_column(name, justify="right", no_wrap=True)
    narrower = 1.0 - after.standard_deviation / before.standard_deviation
    for i in sorted(range(len(learnt.keys)), key=lambda i: -float(narrower[i])):
        name, stage = learnt.keys[i]
        words = name.replace("_", " ") + (f", stage {stage}" if stage else "")
        places = 2 if before.standard_deviation[i] >= 0.02 else 4
        table.add_row(
            Text(printable(words)),
            _interval(float(before.mean[i]), float(before.standard_deviation[i]), places),
            _interval(float(after.mean[i]), float(after.standard_deviation[i]), places),
            percent(float(narrower[i])) if narrower[i] > 0.005 else "–",
        )
    console.print(table, highlight=False)
    console.print(_close(learnt), highlight=False)


def _interval(mean: float, deviation: float, places: int) -> str:
    half = _NORMAL_90 * deviation
    return f"{number(mean, places)} ({number(mean - half, places)} to {number(mean + half, places)})"


def _close(x: Learnt) -> Text:
    scale = x.after.scatter_scale / x.before.scatter_scale
    count = x.after.builds - x.before.builds
    return Text(
        f"\nLearnt from {count} build(s), {x.after.builds} in all. "
        f"Build scatter: {scale:.2f} of what was stated before. "
        f"Squared misfit of the {x.residuals} readings: {x.misfit:.2f} of what is expected (1: all is right)."
    )
