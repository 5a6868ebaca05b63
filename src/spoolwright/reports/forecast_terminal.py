"""A forecast on the terminal: the answer, the limits, what eats the margin, what would mend it."""

from __future__ import annotations

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from spoolwright.crafts.testcell.forecast.model import Forecast
from spoolwright.reports.figures import printable
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

_SHAPE = {"meets": "✓", "does_not_meet": "▲", "cannot_tell": "◇"}
_STYLE = {"meets": "", "does_not_meet": "bold red", "cannot_tell": "yellow"}
_BAR = 24


def print_forecast(f: Forecast, console: Console, *, everything: bool = False) -> None:
    """Print a forecast."""
    parts = (_head(f), _answer(f), _limits(f), _eaten(f), _options(f, everything), _doubts(f), _close(f))
    for part in parts:
        if part is not None:
            console.print(Padding(part, (0, 0, 1, 0)), highlight=False)


def _told(words: str, style: str = "") -> Text:
    return Text(printable(words), style=style)


def _title(text: str) -> Text:
    return _told(text, "bold underline")


def _head(f: Forecast) -> Text:
    visit = f", visit {f.visit}" if f.visit else ""
    text = _told(f"{f.type_name}, serial {f.engine_serial}{visit}, limits “{f.limit_set}”, {f.cell}")
    if f.demonstration:
        text.append("\nDemonstration data, not approved.", style="italic")
    return text


def _answer(f: Forecast) -> RenderableType:
    mark = MARK[f.outcome]
    lines = [_told(f"{_SHAPE[mark]} {f.answer}", f"bold {_STYLE[mark]}".strip())]
    lines += [_told(f"  {r}.") for r in f.reasons]
    return Group(*lines)


def _limits(f: Forecast) -> RenderableType:
    table = _table("limit", "limit value", "reading expected", "margin (90 %)", "passes")
    for r in limit_rows(f):
        guard = f" + {r.guard}" if r.guard else ""
        table.add_row(
            _told(f"{_SHAPE[r.outcome]} {r.name}", _STYLE[r.outcome]),
            f"{r.bound} {r.value}{guard}",
            f"{r.reading.mean} {r.reading.unit}",
            r.margin.text,
            r.passing,
        )
    return Group(_title("What the run is expected to show"), table)


def _eaten(f: Forecast) -> RenderableType | None:
    rows = eaten_rows(f)
    if not rows:
        return None
    power, temperature = pair_words(f)
    table = _table("finding", "as built", "nominal", power, temperature, "")
    for r in rows:
        table.add_row(
            _told(r.title),
            _told(r.as_built),
            _told(r.nominal),
            _spread(r.power),
            _spread(r.temperature),
            r.words,
        )
    return Group(_title("What eats the margin (middle 90 %)"), table)


def _options(f: Forecast, everything: bool) -> RenderableType | None:
    rows = option_rows(f)
    if not rows:
        return None
    power, temperature = pair_words(f)
    table = _table("change", power, temperature, "passes", "gain", "work")
    for r in rows if everything else rows[:MOST_OPTIONS]:
        table.add_row(
            _told(r.title), _spread(r.power), _spread(r.temperature), r.passing, r.gain, _told(r.cost)
        )
    lines: list[RenderableType] = [_title("What changing it would gain"), table]
    if not everything and len(rows) > MOST_OPTIONS:
        lines.append(_told(f"{len(rows) - MOST_OPTIONS} more (--all lists them).", "dim"))
    return Group(*lines)


def _doubts(f: Forecast) -> RenderableType:
    lines: list[RenderableType] = [_title("Where the spread of the least sure margin comes from")]
    for cause, part, width in share_rows(f):
        bar = "█" * max(round(width / 100.0 * _BAR), 1 if width >= 1.0 else 0)
        lines.append(_told(f"{part:>5}  {bar:<{_BAR}} {cause}"))
    return Group(*lines)


def _spread(s: Spread | None) -> str:
    return "–" if s is None else s.text


def _table(first: str, *others: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim", padding=(0, 2, 0, 0))
    table.add_column(first, ratio=1)
    for name in others:
        table.add_column(name, justify="right")
    return table


def _close(f: Forecast) -> RenderableType:
    return Group(*(_told(n, "dim") for n in (*f.notes, *f.cautions)))
