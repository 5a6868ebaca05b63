"""The terminal summary: verdict first, then what is asked for next, what is doubtful, what is thin."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from spoolwright.crafts.testcell.model import Assessment, Finding
from spoolwright.reports import view
from spoolwright.reports.figures import Cell, clock, percent
from spoolwright.reports.labels import BOUND, OUTCOME, words
from spoolwright.reports.proposal import Ask, asks, proposal, still_open, surer, unsettled
from spoolwright.reports.terminal_text import heading, plain, print_parts

_SHAPE = {"meets": "✓", "does_not_meet": "▲", "cannot_tell": "◇"}
_STYLE = {"meets": "", "does_not_meet": "bold red", "cannot_tell": "yellow"}
_THIN = 5
_LISTED = 6
_WIDE = 110
"""Columns from which a reading's figures stand beside its name, not below it."""


def print_summary(assessment: Assessment, console: Console, *, all_verdicts: bool = False) -> None:
    """Print the summary of an assessment."""
    wide = console.width >= _WIDE
    parts = (
        _head(assessment),
        _proposal(assessment),
        _asks(assessment, wide),
        _findings(assessment),
        _gates(assessment),
        _everything(assessment, wide) if all_verdicts else _thinnest(assessment, wide),
        _close(assessment),
    )
    print_parts(console, parts)


def _head(a: Assessment) -> Text:
    runs = ", ".join(r.run for r in a.runs)
    text = plain(f"{a.type_name}, serial {a.engine_serial}, run {runs}, limits “{a.limit_set}”")
    if a.demonstration:
        text.append("\nDemonstration data, not approved.", style="italic")
    return text


def _proposal(a: Assessment) -> RenderableType:
    p = proposal(a)
    lines = [plain(f"Proposed: {p.text}", style="bold")]
    lines.append(Text("   ").join(_marked(outcome, text) for outcome, text in p.tally))
    if p.thinnest is not None:
        t = p.thinnest
        chance = f"{t.probability} probability of conforming"
        lines.append(plain(f"Thinnest: {t.name}, {_interval(t.margin)}, {chance}."))
    if p.earlier:
        lines.append(plain(f"Not met before an adjustment, met since: {'; '.join(p.earlier)}."))
    if p.open:
        lines.append(plain(f"Open: {p.open}"))
    return Group(*lines)


def _marked(outcome: str, text: str) -> Text:
    return plain(f"{_SHAPE[outcome]} {text}", style=_STYLE[outcome])


def _indented(*texts: Text | str) -> list[RenderableType]:
    return [Padding(plain(t) if isinstance(t, str) else t, (0, 0, 0, 4)) for t in texts if t]


def _asks(a: Assessment, wide: bool) -> RenderableType | None:
    lines: list[RenderableType] = []
    for f in unsettled(a):
        lines += [_marked("cannot_tell", f"in doubt: {_doubt(f)}"), *_indented(f"Next: {f.mend}")]
    for ask in asks(a):
        lines += [_marked(ask.outcome, ask.title), *_ask(ask, wide)]
    for o in still_open(a):
        lines.append(_marked("cannot_tell", f"{o.state}: {o.title}"))
        lines += _indented(o.text, _listed(o.names) if len(o.names) > 1 else "", plain(o.source, style="dim"))
    return Group(heading("What is asked for next"), *lines) if lines else None


def _ask(ask: Ask, wide: bool) -> Iterable[RenderableType]:
    yield from _indented(ask.why)
    if ask.step:
        yield from _indented(f"Next: {ask.step}")
    if ask.action:
        yield from _indented(f"The document calls for: {ask.action}")
    told = [r for r in ask.rows if r.margin]
    if told:
        yield from (Padding(t, (0, 0, 0, 4)) for t in _rows(told, wide))
    elif len(ask.rows) > 1:
        yield from _indented(_listed([r.name for r in ask.rows]))
    yield from _indented(plain(ask.source, style="dim"))


def _listed(names: Sequence[str]) -> str:
    """Names; the first few where they are many."""
    if len(names) <= _LISTED:
        return "; ".join(names)
    return f"{'; '.join(names[:_LISTED])}; and {len(names) - _LISTED} more"


def _findings(a: Assessment) -> RenderableType | None:
    lines: list[RenderableType] = []
    for f in a.findings:
        lines.append(_marked("cannot_tell", _doubt(f)) if _bars(f) else plain(f"· {_doubt(f)}"))
        lines += _indented(f.text + _chance(f), "" if _bars(f) or f.corrected_by else f.mend)
        lines += _indented(
            f"Correction signed by {f.corrected_by}; both values are kept." if f.corrected_by else ""
        )
    return Group(heading("Doubts about the data"), *lines) if lines else None


def _bars(f: Finding) -> bool:
    return f.bars_use and not f.corrected_by


def _doubt(f: Finding) -> str:
    when = f", {clock(f.from_s)}–{clock(f.to_s)}" if f.from_s is not None else ""
    bars = ", bars judgement until signed" if _bars(f) else ""
    return f"{words(f.kind)}: {', '.join(f.channels)} (run {f.run}{when}){bars}"


def _chance(f: Finding) -> str:
    told = f.probability is None or "robability" in f.text
    return "" if told else f" Probability {percent(f.probability)}."


def _gates(a: Assessment) -> RenderableType | None:
    lines: list[RenderableType] = []
    for g in a.gates:
        if g.state != "holds":
            lines.append(_marked("cannot_tell", f"{g.name} (run {g.run}): {g.state}"))
            lines += _indented(g.text, g.mend)
    return Group(heading("Conditions that a reading needs to count"), *lines) if lines else None


def _thinnest(a: Assessment, wide: bool) -> RenderableType | None:
    rows = [r for r in view.thinnest(a) if r.verdict.outcome == "meets"][:_THIN]
    if not rows:
        return None
    more = sum(v.outcome == "meets" for v in a.verdicts) - len(rows)
    lines = _rows(rows, wide)
    for step, names in surer(a)[:1]:
        lines.append(plain(f"To be surer of {_listed(names)}: {step}"))
    if more > 0:
        lines.append(plain(f"{more} more readings meet their limits (--all lists them).", style="dim"))
    return Group(heading("Thinnest of those that meet"), *lines)


def _everything(a: Assessment, wide: bool) -> RenderableType:
    lines: list[RenderableType] = []
    for group in view.groups(a):
        lines += [heading(group.title), *_rows(group.rows, wide)]
    return Group(*lines)


def _rows(rows: Sequence[view.Row], wide: bool) -> list[RenderableType]:
    """Readings as a table, or two lines each where the terminal is narrow."""
    if not wide:
        return [line for r in rows for line in _narrow(r)]
    table = Table(box=None, pad_edge=False, header_style="dim", padding=(0, 2, 0, 0))
    table.add_column("reading under its limit", ratio=1)
    for name in ("reading", "limit", "margin ± 95 %", "conforms"):
        table.add_column(name, justify="right", no_wrap=True)
    for r in rows:
        table.add_row(
            _marked(r.verdict.outcome, r.name),
            _text(r.reading),
            _limit(r),
            _interval(r.margin),
            r.probability,
        )
    return [table]


def _narrow(r: view.Row) -> list[RenderableType]:
    figures = f"{_text(r.reading)}, {BOUND[r.verdict.bound]} {_text(r.limit)}"
    chance = f", conforms {r.probability}" if r.probability != "–" else ""
    margin = f"; margin {_interval(r.margin)}{chance}" if r.margin else ""
    told = (
        figures + margin
        if r.reading and r.limit
        else _text(r.reading)
        if r.reading
        else OUTCOME[r.verdict.outcome]
    )
    return [_marked(r.verdict.outcome, r.name), *_indented(plain(told))]


def _limit(r: view.Row) -> str:
    return "–" if r.limit is None else f"{r.verdict.bound} {r.limit.text}"


def _text(c: Cell | None) -> str:
    return "–" if c is None else c.text


def _interval(c: Cell | None) -> str:
    return "–" if c is None else c.interval


def _close(a: Assessment) -> RenderableType:
    lines = [plain(f"Accepted by: {a.disposition.accepted_by}", style="bold")]
    return Group(*lines, *(plain(c, style="dim") for c in a.cautions))
