"""A forecast on the terminal: the answer, the limits, what eats the margin, what would mend it."""

from __future__ import annotations

from rich.console import Console, Group, RenderableType
from rich.text import Text

from spoolwright.crafts.testcell.forecast.model import Forecast
from spoolwright.reports.forecast_view import (
    MARK,
    MOST_OPTIONS,
    Spread,
    eaten_rows,
    limit_rows,
    option_rows,
    pair_words,
    share_rows,
)
from spoolwright.reports.terminal_text import heading, plain, plain_table, print_parts

_SHAPE = {"meets": "✓", "does_not_meet": "▲", "cannot_tell": "◇"}
_STYLE = {"meets": "", "does_not_meet": "bold red", "cannot_tell": "yellow"}
_BAR = 24


def print_forecast(f: Forecast, console: Console, *, everything: bool = False) -> None:
    """Print a forecast."""
    parts = (_head(f), _answer(f), _limits(f), _eaten(f), _options(f, everything), _doubts(f), _close(f))
    print_parts(console, parts)


def _head(f: Forecast) -> Text:
    visit = f", visit {f.visit}" if f.visit else ""
    text = plain(f"{f.type_name}, serial {f.engine_serial}{visit}, limits “{f.limit_set}”, {f.cell}")
    if f.demonstration:
        text.append("\nDemonstration data, not approved.", style="italic")
    return text


def _answer(f: Forecast) -> RenderableType:
    mark = MARK[f.outcome]
    lines = [plain(f"{_SHAPE[mark]} {f.answer}", f"bold {_STYLE[mark]}".strip())]
    lines += [plain(f"  {r}.") for r in f.reasons]
    return Group(*lines)


def _limits(f: Forecast) -> RenderableType:
    table = plain_table("limit", "limit value", "reading expected", "margin (90 %)", "passes")
    for r in limit_rows(f):
        guard = f" + {r.guard}" if r.guard else ""
        table.add_row(
            plain(f"{_SHAPE[r.outcome]} {r.name}", _STYLE[r.outcome]),
            f"{r.bound} {r.value}{guard}",
            f"{r.reading.mean} {r.reading.unit}",
            r.margin.text,
            r.passing,
        )
    return Group(heading("What the run is expected to show"), table)


def _eaten(f: Forecast) -> RenderableType | None:
    rows = eaten_rows(f)
    if not rows:
        return None
    power, temperature = pair_words(f)
    table = plain_table("finding", "as built", "nominal", power, temperature, "")
    for r in rows:
        table.add_row(
            plain(r.title),
            plain(r.as_built),
            plain(r.nominal),
            _spread(r.power),
            _spread(r.temperature),
            r.words,
        )
    return Group(heading("What eats the margin (middle 90 %)"), table)


def _options(f: Forecast, everything: bool) -> RenderableType | None:
    rows = option_rows(f)
    if not rows:
        return None
    power, temperature = pair_words(f)
    table = plain_table("change", power, temperature, "passes", "gain", "work")
    for r in rows if everything else rows[:MOST_OPTIONS]:
        table.add_row(
            plain(r.title), _spread(r.power), _spread(r.temperature), r.passing, r.gain, plain(r.cost)
        )
    lines: list[RenderableType] = [heading("What changing it would gain"), table]
    if not everything and len(rows) > MOST_OPTIONS:
        lines.append(plain(f"{len(rows) - MOST_OPTIONS} more (--all lists them).", "dim"))
    return Group(*lines)


def _doubts(f: Forecast) -> RenderableType:
    lines: list[RenderableType] = [heading("Where the spread of the least sure margin comes from")]
    for cause, part, width in share_rows(f):
        bar = "█" * max(round(width / 100.0 * _BAR), 1 if width >= 1.0 else 0)
        lines.append(plain(f"{part:>5}  {bar:<{_BAR}} {cause}"))
    return Group(*lines)


def _spread(s: Spread | None) -> str:
    return "–" if s is None else s.text


def _close(f: Forecast) -> RenderableType:
    return Group(*(plain(n, "dim") for n in (*f.notes, *f.cautions)))
