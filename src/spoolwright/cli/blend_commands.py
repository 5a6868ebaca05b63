"""`spoolwright blend`: the smallest blends of findings, what they do, the stage planned together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from spoolwright.bootstrap.blend_planning import PlannedFinding, PlannedStage

app = typer.Typer(no_args_is_help=True, help="Blends: smallest within limits, what they do, a stage's plan.")

NOT_ALL_STAY = 2

PLAN_EPILOG = """\b
Example:
  spoolwright blend plan findings.csv --type corrie_940.toml --out plan.csv

\b
Columns of the table are those of `spoolwright inspection judge`; a blend needs the depth and `position`, the
middle of the damage along the span from the platform.

\b
Exit code: 0 every damaged blade can stay, 2 one is to be replaced or something is open, 4 the table cannot be
read. Stress and frequencies are advisory. A proposal; an entitled person decides."""


@app.command("plan", epilog=PLAN_EPILOG)
def plan(
    findings: Annotated[Path, typer.Argument(metavar="FINDINGS.csv", help="Table of findings.")],
    type_file: Annotated[
        Path | None,
        typer.Option("--type", metavar="FILE", help="Type file; NAME.shop beside it holds the limits."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write each finding with its blend (CSV).")
    ] = None,
) -> None:
    """Plan the blends of a table of findings, stage by stage."""
    from spoolwright import bootstrap
    from spoolwright.bootstrap.blend_planning import plan_table, planned_csv
    from spoolwright.cli.mistakes import print_mistakes
    from spoolwright.reports.figures import printable
    from spoolwright.reports.jsonfile import write_text
    from spoolwright.sources.findings_csv import FindingsError
    from spoolwright.sources.typefile import shipped_type

    known = type_file or shipped_type()
    bootstrap.check_outputs([out] if out else [], [findings, known])
    try:
        stages = plan_table(findings, known)
    except FindingsError as error:
        print_mistakes(error, findings)
        raise typer.Exit(error.exit_code) from None
    for one in stages:
        for line in _stage(one):
            typer.echo(printable(line))
    if out is not None:
        write_text(out, planned_csv(stages))
        typer.echo(f"Written: {printable(str(out))}")
    if any(f.plan not in ("blend", "stays") and not f.plan.startswith("meets")
           for s in stages for f in s.findings):  # fmt: skip
        raise typer.Exit(NOT_ALL_STAY)


def _stage(one: PlannedStage) -> list[str]:
    from spoolwright.crafts.inspection.blend_words import ADVISORY, models_words, plan_sentence

    part = one.stage.part
    lines = [f"{part.name}{', serial ' + one.serial if one.serial else ''}"]
    if one.found is None or part.airfoil is None:
        lines.append("  No stage plan: airfoil or allowed unbalance is not transcribed. Blends only.")
    else:
        lines += [f"  {plan_sentence(one.found, part)}", f"  Seen {part.view}. {part.numbering}"]
    for row in one.findings:
        lines += [f"  {x}" for x in _finding(row, part.numbered)]
    if part.airfoil is not None and any(f.effect for f in one.findings):
        lines.append(f"  {models_words(part.airfoil)} {ADVISORY}")
    return [*lines, ""]


def _finding(row: PlannedFinding, noun: str) -> list[str]:
    from spoolwright.crafts.inspection.blend_words import effect_words, size_words, sizing

    f = row.finding
    place = f"{noun} {f.blade} " if f.blade else ""
    source = f" ({row.judgement.paragraph})" if row.judgement.paragraph else ""
    lines = [f"{row.number}  {place}{f.zone} {f.damage.value}: {row.plan}. {row.why}{source}"]
    if row.taken is not None and row.line is not None:
        lines += [f"     {size_words(row.taken)}"]
        lines += [f"       {x}" for x in sizing(row.taken, row.line)]
        lines += [f"       {c.bound} {c.reading}, {c.limit}" for c in row.judgement.checks]
    if row.effect is not None:
        lines += [f"     {x}" for x in effect_words(row.effect)]
    return lines
