"""A calibration on the terminal: what it rests on, build scatter, where the model is wrong, runs left out."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from spoolwright.core.diagnosis.comparison import FACTORS, UNIT
from spoolwright.core.diagnosis.observation import ADDITIVE
from spoolwright.core.diagnosis.spreads import BUILD
from spoolwright.crafts.testcell.diagnosis.baseline import Baseline
from spoolwright.crafts.testcell.diagnosis.words import OUTPUT_NAMES
from spoolwright.reports.figures import printable


def print_calibration(baseline: Baseline, console: Console) -> None:
    """Print a calibration."""
    for told in baseline.left_out:
        console.print(printable(f"Left out: {told}"))
    console.print(f"The average engine rests on {baseline.words}.")
    if not baseline.calibrated.engines:
        return
    console.print(_builds(baseline))
    if baseline.calibrated.errors:
        console.print(_errors(baseline))
        console.print("After: engines held against what the others taught. Stated: build scatter included.")


def _table(title: str, *heads: str) -> Table:
    table = Table(title=title, title_justify="left", box=None, padding=(0, 2, 0, 0))
    for i, head in enumerate(heads):
        table.add_column(head, justify="right" if i else "left")
    return table


def _builds(baseline: Baseline) -> Table:
    table = _table("Build scatter, one standard deviation", "module", "found", "before any run")
    times = dict(zip(FACTORS, BUILD * UNIT, strict=True))
    for name, found in baseline.calibrated.build.items():
        unit, scale = ("deg", 1.0) if name == "vane_offset" else ("%", 100.0)
        row = (f"{scale * x:.2f} {unit}" for x in (found, times[name]))
        table.add_row(name.replace("_", " "), *row)
    return table


def _errors(baseline: Baseline) -> Table:
    table = _table(
        "Where the model is wrong", "output", "speed", "points", "data sheet", "after", "scatter", "stated"
    )
    for e in baseline.calibrated.errors:
        unit, scale = ("deg", 57.29577951308232) if e.output in ADDITIVE else ("%", 100.0)
        figures = (f"{scale * x:+.2f} {unit}" for x in (e.before, e.after))
        spread = (f"{scale * x:.2f} {unit}" for x in (e.scatter, e.stated))
        band = f"{100.0 * e.speed_from:.0f} to {100.0 * e.speed_to:.0f} %"
        table.add_row(OUTPUT_NAMES[e.output], band, str(e.points), *figures, *spread)
    return table
