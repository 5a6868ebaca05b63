"""Mistakes in a file that people write, as the terminal shows them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from spoolwright.errors import MistakesError


def print_mistakes(error: MistakesError, file: Path) -> None:
    """Every mistake with its line and how to mend it, on the error stream."""
    from rich.console import Console
    from rich.padding import Padding
    from rich.text import Text

    from spoolwright.reports.figures import printable

    console = Console(stderr=True, highlight=False)
    count = len(error.problems)
    head = Text(f"{printable(str(file))}: {count} mistake{'s' if count != 1 else ''}\n", style="bold")
    console.print(head, soft_wrap=True)
    for p in error.problems:
        console.print(Text.assemble((f"line {p.line or '?'}", "bold"), f"  {p.where}"), soft_wrap=True)
        console.print(Padding(Text(p.what), (0, 0, 0, 4)))
        if p.mend:
            console.print(Padding(Text(p.mend, style="dim"), (0, 0, 1, 4)))
    console.print(Text("Nothing is assessed with this file until it is mended."))
