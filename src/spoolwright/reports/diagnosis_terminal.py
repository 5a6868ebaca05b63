"""A diagnosis on the terminal: the answer, causes with their probabilities, next checks, margins."""

from __future__ import annotations

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
from spoolwright.reports import diagnosis_view as view
from spoolwright.reports.diagnosis_margins import margin_tables
from spoolwright.reports.figures import clock, printable
from spoolwright.reports.labels import words
from spoolwright.reports.terminal_text import heading, plain, plain_table, print_parts

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
    print_parts(console, parts)


def _head(d: Diagnosis) -> Text:
    runs = ", ".join(r.run for r in d.runs)
    text = plain(f"{d.type_name}, serial {d.engine_serial}, run {runs}")
    if d.demonstration:
        text.append("\nDemonstration data, not approved.", style="italic")
    return text


def _answer(d: Diagnosis) -> RenderableType:
    lines = [plain(view.answer(d), "bold"), plain(f"Proposed: {view.proposal(d)}")]
    if d.residuals:
        fits, told = view.fit(d)
        lines.append(plain(told if fits else f"Explained badly: {told}", "dim" if fits else "bold"))
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
    return Group(heading("Causes, the most probable first"), table)


def _chance(row: view.Block | view.Cause) -> tuple[Text, Text]:
    return plain(f"{'█' * round(row.probability * _BAR):·<{_BAR}}"), plain(f"{row.chance:>7}")


def _named(name: str, in_words: str, facts: str) -> Text:
    text = plain(name, "bold")
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
    table = plain_table("check", "information", "hours", "cost", "bit per hour", left=("information",))
    for r in rows if everything else rows[: view.FIRST_CHECKS]:
        name = plain(r.text)
        name.append(printable(f"\n  {r.why}"), style="dim")
        table.add_row(name, plain(f"{r.words} ({r.bits} bit)"), r.hours, plain(r.cost), r.per_hour)
    return Group(
        heading("Next checks, the most telling for the money first"),
        table,
        *_more(rows[view.FIRST_CHECKS :], everything),
    )


def _more(rest: list[view.CheckRow], everything: bool) -> list[Text]:
    return [plain(f"{len(rest)} more (--all lists them).", "dim")] if rest and not everything else []


def _evidence(d: Diagnosis, everything: bool) -> RenderableType | None:
    found = view.cases(d)
    parts: list[RenderableType] = []
    for k in found if everything else found[:1]:
        parts.append(plain(f"{k.name}, {k.chance}", "bold"))
        table = plain_table("observation", *(heads := ("seen", "it would show", "it is then")), left=heads)
        for sign, rows in (("+", k.speaks_for), ("−", k.speaks_against)):
            for e in rows:
                table.add_row(plain(f"{sign} {e.what}"), plain(e.seen), plain(e.expected), plain(e.words))
        parts.append(table)
    return Group(heading("For (+) and against (−)"), *parts) if parts else None


def _margins(d: Diagnosis, everything: bool) -> RenderableType | None:
    found = margin_tables(d)
    parts: list[RenderableType] = []
    for t in found if everything else found[:1]:
        parts.append(plain(f"With this put right: {t.name}", "bold"))
        table = plain_table("margin", "now", "afterwards", "", left=("",))
        for r in t.rows:
            cells = [
                plain(c.interval + (f"\n{c.second.interval} {c.second.unit}" if c.second else ""))
                for c in (r.now, r.after)
            ]
            state = plain(f"{_SHAPE[r.mark]} {r.words}".rstrip(), _STYLE[r.mark])
            table.add_row(plain(f"{r.quantity}, {r.rating}"), *cells, state)
        parts.append(table)
    return Group(heading("Margins now and afterwards, by the model (± 95 %)"), *parts) if parts else None


def _doubts(d: Diagnosis) -> RenderableType | None:
    lines = [plain(f"· {t}") for t in d.left_out]
    for f in d.findings:
        when = f", {clock(f.from_s)}–{clock(f.to_s)}" if f.from_s is not None else ""
        lines.append(
            plain(f"· {words(f.kind)}: {', '.join(f.channels)} (run {f.run}{when}). {f.text} {f.mend}")
        )
    return Group(heading("Doubts, and what was left out"), *lines) if lines else None


def _sisters(d: Diagnosis) -> RenderableType | None:
    lines = [
        plain(f"· {s.engine}, released {s.released_on}: {'; '.join(s.shares)}. {s.text}") for s in d.sisters
    ]
    return Group(heading("Released engines that share it"), *lines) if lines else None


def _close(d: Diagnosis) -> RenderableType:
    basis = plain(f"Average engine: {d.baseline}. Shares before the run was looked at: {d.priors}.", "dim")
    return Group(
        plain(f"Accepted by: {d.accepted_by}", "bold"), basis, *(plain(c, "dim") for c in d.cautions)
    )
