"""Checks on the aircraft against the bench: as a table of a file, and in the terminal."""

from __future__ import annotations

import csv
import io

from spoolwright.crafts.installation.compare import signed
from spoolwright.crafts.installation.model import CheckResult, InstallationResult, Interval

COLUMNS = (
    "date", "hours [h]", "manual", "manual_limit", "manual_margin", "agreement", "expected_torque",
    "power_difference [%]", "power_half_width [%]", "mgt_difference [K]", "mgt_half_width [K]",
    "ng_difference [%]", "ng_half_width [%]", "margin [%]", "margin_half_width [%]", "used", "doubts",
)  # fmt: skip


def csv_text(result: InstallationResult) -> str:
    """A row for each check; half widths are of 95 % intervals, limit and torque in the manual's units."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for c in result.checks:
        writer.writerow(
            [
                c.checked_on.isoformat(),
                f"{c.hours:g}",
                c.manual,
                _number(c.manual_limit),
                _number(c.manual_margin),
                c.agreement,
                _number(c.expected_torque),
                *_pair(c.power),
                *_pair(c.gas_temperature),
                *_pair(c.speed),
                *_pair(c.margin),
                "yes" if c.used else "no",
                " ".join(c.doubts),
            ]
        )
    return out.getvalue()


def _number(x: float | None) -> str:
    return "" if x is None else f"{x:.2f}"


def _pair(x: Interval | None) -> tuple[str, str]:
    return ("", "") if x is None else (f"{x.value:.3f}", f"{x.half_width:.3f}")


def lines_of(result: InstallationResult) -> list[str]:
    """The result in sentences: the manual's verdict stands first."""
    m = result.bench_margin
    head = [
        f"Engine {result.engine_serial}, bench run {result.bench_run}: power margin at {result.rating} "
        f"{signed(m.value, 1)} % ± {m.half_width:.1f} %.",
        f"The rule: {result.source}.",
        "",
    ]
    if result.demonstration:
        head.insert(0, "Demonstration data, not approved.")
    return [
        *head,
        *(line for c in result.checks for line in _check(c)),
        result.trend.sentence,
        result.advisory,
    ]


def _check(c: CheckResult) -> list[str]:
    return [
        f"{c.checked_on}, {c.hours:g} h: {c.manual_sentence}",
        f"    {c.sentence}",
        *(["    Margin " + _interval(c.margin) + "."] if c.margin else []),
        "",
    ]


def _interval(x: Interval) -> str:
    return f"{signed(x.value, 1)} {x.unit} ± {x.half_width:.1f} {x.unit}"
