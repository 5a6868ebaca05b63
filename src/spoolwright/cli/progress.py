"""A progress bar for work that lasts, silent where nobody watches."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

Tell = Callable[[str, float], None]
"""Called with what is being done and the share done, 0 to 1."""


@contextmanager
def progress_bar(title: str) -> Iterator[Tell]:
    """A bar on the error stream with an estimate of the time left; it leaves no trace when done."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(title, total=1.0)

        def tell(what: str, share: float) -> None:
            bar.update(task, description=f"{title}: {what}", completed=share)

        yield tell
