"""A diagnosis on the terminal: the answer, causes with their probabilities, next checks, margins."""

from __future__ import annotations

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
from spoolwright.reports import diagnosis_view as view
from spoolwright.reports.diagnosis_margins import margin_tables
from spoolwright.reports.figures import clock, printable
from spoolwright.reports.labels import words

_BAR = 14
_SHAPE = {"meets": "✓", "does_not_meet": "▲", "cannot_tell": "◇", "": " "}
_STYLE = {"meets": "", "does_not_meet": "bold red", "cannot_tell": "yellow", "": ""}


def print_diagnosis(diagnosis: Diagnosis, console: Console, *, everything: bool = False) -> None:
    """Print a diagnosis; `everything` lists every check, and margins and evidence of every likely cause."""
    d = diagnosis
    parts = (
        _head(d),
        _answer(d),
        _causes(d, everything),
        _checks(d, everything),
        _evidence(d, everything),
        _margins(d, everything),
        _doubts(d),
        _sisters(d),
        _close(d),
    )
    for part in parts:
        if part is not None:
            console.print(Padding(part, (0, 0, 1, 0)), highlight=False)


def _told(text: str, style: str = "") -> Text:
    """Words as text that cannot command the terminal."""
    return Text(printable(text), style=style)


def _title(text: str) -> Text:
    return _told(text, "bold underline")


def _table(*names: str, right: tuple[str, ...] = ()) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim", padding=(0, 2, 0, 0))
    for i, name in enumerate(names):
        table.add_column(name, justify="right" if name in right else "left", ratio=None if i else 1)
    return table


def _head(d: Diagnosis) -> Text:
    runs = ", ".join(r.run for r in d.runs)
    text = _told(f"{d.type_name}, serial {d.engine_serial}, run {runs}")
    if d.demonstration:
        text.append("\nDemonstration data, not approved.", style="italic")
    return text


def _answer(d: Diagnosis) -> RenderableType:
    lines = [_told(view.answer(d), "bold"), _told(f"Proposed: {view.proposal(d)}")]
    if d.residuals:
        fits, told = view.fit(d)
        lines.append(_told(told if fits else f"Explained badly: {told}", "dim" if fits else "bold"))
    return Group(*lines)


def _causes(d: Diagnosis, everything: bool) -> RenderableType | None:
    found = view.blocks(d)
    if not found:
        return None
    table = Table.grid(padding=(0, 2, 0, 0))
    for _ in range(2):
        table.add_column(no_wrap=True)
    for b in found:
        if b.is_group:
            table.add_row(
                *_chance(b),
                _named("One of these; the readings cannot tell which", b.words, _why(b, everything)),
            )
        for c in b.causes:
            name = f"{'– ' if b.is_group else ''}{c.name}"
            table.add_row(*_chance(c), _named(name, c.words, _facts(c)))
    return Group(_title("Causes, the most probable first"), table)


def _chance(row: view.Block | view.Cause) -> tuple[Text, Text]:
    return _told(f"{'█' * round(row.probability * _BAR):·<{_BAR}}"), _told(f"{row.chance:>7}")


def _named(name: str, in_words: str, facts: str) -> Text:
    text = _told(name, "bold")
    text.append(printable(f", {in_words}"), style="not bold")
    if facts:
        text.append(printable(f"\n  {facts}"), style="not bold")
    return text


def _why(b: view.Block, everything: bool) -> str:
    """Why they cannot be told apart: the first reason unless all are asked for."""
    told = b.reasons if everything else b.reasons[:1]
    more = f" (and {len(b.reasons) - len(told)} more, --all)" if len(told) < len(b.reasons) else ""
    return "; ".join(told) + more


def _facts(c: view.Cause) -> str:
    sizes = " and ".join(f"{a} ({i})" for a, i in c.sizes)
    return "; ".join(filter(None, (sizes, c.reopen, c.work)))


def _checks(d: Diagnosis, everything: bool) -> RenderableType | None:
    rows = view.checks(d)
    if not rows:
        return None
    table = _table(
        "check", "information", "hours", "cost", "bit per hour", right=("hours", "cost", "bit per hour")
    )
    for r in rows if everything else rows[: view.FIRST_CHECKS]:
        name = _told(r.text)
        name.append(printable(f"\n  {r.why}"), style="dim")
        table.add_row(name, _told(f"{r.words} ({r.bits} bit)"), r.hours, _told(r.cost), r.per_hour)
    return Group(
        _title("Next checks, the most telling for the money first"),
        table,
        *_more(rows[view.FIRST_CHECKS :], everything),
    )


def _more(rest: list[view.CheckRow], everything: bool) -> list[Text]:
    return [_told(f"{len(rest)} more (--all lists them).", "dim")] if rest and not everything else []


def _evidence(d: Diagnosis, everything: bool) -> RenderableType | None:
    found = view.cases(d)
    parts: list[RenderableType] = []
    for k in found if everything else found[:1]:
        parts.append(_told(f"{k.name}, {k.chance}", "bold"))
        table = _table("observation", "seen", "it would show", "it is then")
        for sign, rows in (("+", k.speaks_for), ("−", k.speaks_against)):
            for e in rows:
                table.add_row(_told(f"{sign} {e.what}"), _told(e.seen), _told(e.expected), _told(e.words))
        parts.append(table)
    return Group(_title("For (+) and against (−)"), *parts) if parts else None


def _margins(d: Diagnosis, everything: bool) -> RenderableType | None:
    found = margin_tables(d)
    parts: list[RenderableType] = []
    for t in found if everything else found[:1]:
        parts.append(_told(f"With this put right: {t.name}", "bold"))
        table = _table("margin", "now", "afterwards", "", right=("now", "afterwards"))
        for r in t.rows:
            cells = [
                _told(c.interval + (f"\n{c.second.interval} {c.second.unit}" if c.second else ""))
                for c in (r.now, r.after)
            ]
            state = _told(f"{_SHAPE[r.mark]} {r.words}".rstrip(), _STYLE[r.mark])
            table.add_row(_told(f"{r.quantity}, {r.rating}"), *cells, state)
        parts.append(table)
    return Group(_title("Margins now and afterwards, by the model (± 95 %)"), *parts) if parts else None


def _doubts(d: Diagnosis) -> RenderableType | None:
    lines = [_told(f"· {t}") for t in d.left_out]
    for f in d.findings:
        when = f", {clock(f.from_s)}–{clock(f.to_s)}" if f.from_s is not None else ""
        lines.append(
            _told(f"· {words(f.kind)}: {', '.join(f.channels)} (run {f.run}{when}). {f.text} {f.mend}")
        )
    return Group(_title("Doubts, and what was left out"), *lines) if lines else None


def _sisters(d: Diagnosis) -> RenderableType | None:
    lines = [
        _told(f"· {s.engine}, released {s.released_on}: {'; '.join(s.shares)}. {s.text}") for s in d.sisters
    ]
    return Group(_title("Released engines that share it"), *lines) if lines else None


def _close(d: Diagnosis) -> RenderableType:
    basis = _told(f"Average engine: {d.baseline}. Shares before the run was looked at: {d.priors}.", "dim")
    return Group(
        _told(f"Accepted by: {d.accepted_by}", "bold"), basis, *(_told(c, "dim") for c in d.cautions)
    )
