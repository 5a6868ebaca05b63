"""The terminal summary: verdict first, then what is thin, what is open, what is doubtful."""

from __future__ import annotations

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from spoolwright.crafts.testcell.model import Assessment, Figure, Verdict
from spoolwright.reports.figures import clock, percent, shown

OUTCOME_WORD = {"meets": "meets", "does_not_meet": "does not meet", "cannot_tell": "cannot tell"}
OUTCOME_SHAPE = {"meets": " ", "does_not_meet": "▲", "cannot_tell": "?"}
_STYLE = {"meets": "", "does_not_meet": "bold red", "cannot_tell": "yellow"}


def print_summary(assessment: Assessment, console: Console, *, all_verdicts: bool = False) -> None:
    """Print the summary of an assessment."""
    console.print(_head(assessment))
    console.print(Padding(Text(assessment.disposition.sentence, style="bold"), (1, 0)))
    for part in (
        _verdicts(assessment, all_verdicts),
        _findings(assessment),
        _gates(assessment),
        _open(assessment),
    ):
        if part is not None:
            console.print(Padding(part, (0, 0, 1, 0)))
    console.print(Text(f"Accepted by: {assessment.disposition.accepted_by}"))
    for caution in assessment.cautions:
        console.print(Text(caution, style="dim"))


def _head(a: Assessment) -> Text:
    runs = ", ".join(r.run for r in a.runs)
    text = Text(f"{a.type_name}  serial {a.engine_serial}  run {runs}  limits: {a.limit_set}")
    if a.demonstration:
        text.append("\nDemonstration data, not approved.", style="italic")
    return text


def _verdicts(a: Assessment, everything: bool) -> RenderableType | None:
    order = {"does_not_meet": 0, "cannot_tell": 1, "meets": 2}
    ranked = sorted(a.verdicts, key=lambda v: (order[v.outcome], _probability(v)))
    chosen = ranked if everything else [v for v in ranked if v.outcome != "meets"] + _thinnest(ranked)
    if not chosen:
        return None
    table = Table(box=None, pad_edge=False, header_style="dim", title_justify="left")
    for column in (
        "",
        "limit",
        "reading",
        "limit value",
        "margin ± (95 %)",
        "probability of conforming",
        "document",
    ):
        table.add_column(column, justify="right" if column in ("reading", "limit value") else "left")
    for v in chosen:
        word = Text(f"{OUTCOME_SHAPE[v.outcome]} {OUTCOME_WORD[v.outcome]}", style=_STYLE[v.outcome])
        table.add_row(
            word, v.name, _cell(v.reading), _cell(v.limit_value), _margin(v.margin),
            percent(v.probability_conforming), v.source,
        )  # fmt: skip
    parts: list[RenderableType] = [table]
    parts += [_reason(v) for v in chosen if v.outcome != "meets"]
    left = len(a.verdicts) - len(chosen)
    if left > 0:
        parts.append(Text(f"{left} more readings meet their limits (--all lists them).", style="dim"))
    return Group(*parts)


def _thinnest(ranked: list[Verdict]) -> list[Verdict]:
    return [v for v in ranked if v.outcome == "meets"][:5]


def _probability(v: Verdict) -> float:
    return 2.0 if v.probability_conforming is None else v.probability_conforming


def _cell(figure: Figure | None) -> str:
    return "–" if figure is None else str(shown(figure))


def _margin(figure: Figure | None) -> str:
    if figure is None:
        return "–"
    s = shown(figure)
    return f"{s.value} ± {s.uncertainty} {s.unit}" if s.uncertainty else str(s)


def _reason(v: Verdict) -> Text:
    lines = [v.sentence, *v.why]
    if v.next_step:
        lines.append(f"Next: {v.next_step}")
    return Text("  " + "\n    ".join(lines))


def _findings(a: Assessment) -> RenderableType | None:
    if not a.findings:
        return None
    lines = [Text("Findings on the data", style="bold")]
    for f in a.findings:
        when = f" {clock(f.from_s)}–{clock(f.to_s)}" if f.from_s is not None else ""
        chance = f" (probability {percent(f.probability)})" if f.probability is not None else ""
        signed = f" Correction signed by {f.corrected_by}." if f.corrected_by else ""
        lines.append(Text(f"  {f.run}{when}: {f.text}{chance} {f.mend}{signed}"))
    return Group(*lines)


def _gates(a: Assessment) -> RenderableType | None:
    failed = [g for g in a.gates if g.state != "holds"]
    if not failed:
        return None
    lines = [Text("Conditions for judging performance", style="bold")]
    lines += [Text(f"  {g.run}: {g.name}: {g.text} {g.mend}") for g in failed]
    return Group(*lines)


def _open(a: Assessment) -> RenderableType | None:
    rest = [s for s in a.schedule if s.state != "shown"]
    if not rest:
        return None
    lines = [Text("Not shown, or open after the run", style="bold")]
    lines += [Text(f"  {s.name}: {s.state.replace('_', ' ')}. {s.text}") for s in rest]
    return Group(*lines)
