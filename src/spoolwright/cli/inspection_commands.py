"""`spoolwright inspection`: findings against the type's damage limits; findings into a shop."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from spoolwright.cli.shop_place import HERE, DatabaseUrl, ShopFolder, opened

app = typer.Typer(no_args_is_help=True, help="Findings: what the limits propose; findings into a visit.")

NOT_WITHIN = 2

JUDGE_EPILOG = """\b
Example:
  spoolwright inspection judge findings.csv --type corrie_940.toml --out proposed.csv

\b
Columns of the table: part, serial, blade, zone, clock, damage, unit (mm or in), depth, length, width,
position, fillet_distance, thickness_left, uncertainty, method, gauge, remark. Lengths are in the row's unit.

\b
Exit code: 0 every finding meets limits as is or can be blended within them, 2 one does not,
4 the table cannot be read. A proposal; an entitled person decides."""

RECORD_EPILOG = """\b
Examples: a table, a finding word by word, a finding as a quick line (blade zone damage depth length):
  spoolwright inspection record findings.csv --visit W100 --as ines --shop shop/
  spoolwright inspection record --visit W100 --as ines --part axial_rotor_1 --serial R1-7 \\
      --blade 7 --zone le_tip --damage nick --unit mm --depth 0.4 --length 2.1
  spoolwright inspection record --visit W100 --as ines --part axial_rotor_1 --unit mm \\
      --quick "7 l3 n 0.4 2.1\""""

Word = Annotated[str, typer.Option(metavar="WORD")]
Length = Annotated[str, typer.Option(metavar="LENGTH", help="In --unit, as measured: 0.4")]


@app.command("judge", epilog=JUDGE_EPILOG)
def judge(
    findings: Annotated[Path, typer.Argument(metavar="FINDINGS.csv", help="Table of findings.")],
    type_file: Annotated[
        Path | None,
        typer.Option("--type", metavar="FILE", help="Type file; NAME.shop beside it holds the limits."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write each proposal with its arithmetic.")
    ] = None,
) -> None:
    """Propose a disposition for every finding of a table."""
    from spoolwright import bootstrap
    from spoolwright.bootstrap.inspecting import judge_table, judged_csv
    from spoolwright.cli.mistakes import print_mistakes
    from spoolwright.crafts.inspection.model import Proposed
    from spoolwright.reports.figures import printable
    from spoolwright.reports.jsonfile import write_text
    from spoolwright.sources.findings_csv import FindingsError
    from spoolwright.sources.typefile import shipped_type

    known = type_file or shipped_type()
    bootstrap.check_outputs([out] if out else [], [findings, known])
    try:
        judged = judge_table(findings, known)
    except FindingsError as error:
        print_mistakes(error, findings)
        raise typer.Exit(error.exit_code) from None
    for n, one in enumerate(judged, 1):
        f, j = one.finding, one.judgement
        place = f"{f.part} {f.serial} {f.blade or ''} {f.zone} {f.damage.value}"
        source = f" ({j.paragraph})" if j.paragraph else ""
        typer.echo(printable(f"{n}  {' '.join(place.split())}: {j.words}{source}"))
    if out is not None:
        write_text(out, judged_csv(judged))
        typer.echo(f"Written: {printable(str(out))}")
    within = sum(x.judgement.proposed in (Proposed.AS_IS, Proposed.BLEND) for x in judged)
    typer.echo(f"{within} of {len(judged)} meet limits as is or after a blend. A person decides.")
    if within < len(judged):
        raise typer.Exit(NOT_WITHIN)


@app.command("record", epilog=RECORD_EPILOG)
def record(
    visit: Annotated[str, typer.Option(metavar="NUMBER", help="The visit.")],
    login: Annotated[str, typer.Option("--as", metavar="LOGIN", help="Who found it.")],
    table: Annotated[
        Path | None, typer.Argument(metavar="FINDINGS.csv", help="Table of findings; else the options.")
    ] = None,
    shop: ShopFolder = HERE,
    database: DatabaseUrl = None,
    part: Word = "",
    serial: Word = "",
    blade: Word = "",
    zone: Word = "",
    clock: Annotated[str, typer.Option(metavar="HOUR", help="Clock position, 1 to 12.")] = "",
    damage: Word = "",
    unit: Annotated[str, typer.Option(metavar="UNIT", help="mm or in.")] = "",
    depth: Length = "",
    length: Length = "",
    width: Length = "",
    position: Length = "",
    fillet_distance: Length = "",
    thickness_left: Length = "",
    uncertainty: Length = "",
    method: Annotated[str, typer.Option(metavar="WORD", help="direct, replica, photograph, borescope.")] = "",
    gauge: Word = "",
    remark: Word = "",
    quick: Annotated[str, typer.Option(metavar="LINE", help="blade zone damage depth length width.")] = "",
) -> None:
    """Record findings in a visit: a table, or one finding; all or none."""
    words = {k: v for k, v in locals().items() if k in _COLUMNS and v}
    _record(table, words, visit, login, shop, database)


_COLUMNS = frozenset(
    {"part", "serial", "blade", "zone", "clock", "damage", "unit", "depth", "length", "width", "position",
     "fillet_distance", "thickness_left", "uncertainty", "method", "gauge", "remark", "quick"}
)  # fmt: skip


def _record(
    table: Path | None, words: Mapping[str, str], visit: str, login: str, shop: Path, database: str | None
) -> None:
    from spoolwright.bootstrap.inspecting import record_table, record_words
    from spoolwright.cli.mistakes import print_mistakes
    from spoolwright.errors import InputError
    from spoolwright.sources.findings_csv import FindingsError

    if (table is None) == (not words):
        raise InputError("give a table of findings, or one finding by its options.", mend="One of the two.")
    now = datetime.now(UTC)
    with opened(shop, database) as known:
        try:
            if table is not None:
                found = record_table(known, visit, login, table, now)
            else:
                found = record_words(known, visit, login, [words], now)
        except FindingsError as error:
            print_mistakes(error, table or Path())
            raise typer.Exit(error.exit_code) from None
    typer.echo(f"{len(found)} recorded in visit {visit}.")
