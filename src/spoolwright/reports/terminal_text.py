"""Pieces of what commands print: words that cannot command the terminal, titles, tables, parts with air."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from spoolwright.reports.figures import printable


def plain(words: str, style: str = "") -> Text:
    """Words as text that cannot command the terminal."""
    return Text(printable(words), style=style)


def heading(text: str) -> Text:
    """A title over a part."""
    return plain(text, "bold underline")


def plain_table(first: str, *others: str, left: tuple[str, ...] = ()) -> Table:
    """A table without lines: the first column takes what room there is, others stand right but for `left`."""
    made = Table(box=None, pad_edge=False, header_style="dim", padding=(0, 2, 0, 0))
    made.add_column(first, ratio=1)
    for name in others:
        made.add_column(name, justify="left" if name in left else "right")
    return made


def print_parts(console: Console, parts: Iterable[RenderableType | None]) -> None:
    """Print the parts that there are, a line of air after each."""
    for part in parts:
        if part is not None:
            console.print(Padding(part, (0, 0, 1, 0)), highlight=False)
