"""Measure every claim and write docs/figures.md.

A proof is a file tests/prove/NAME.py with a docstring whose first line is its title, and one function

    run(progress) -> dict

that calls `progress(done, total)` as it goes and returns

    claim     what is claimed, as a sentence with its tolerance
    measured  the figure, or a mapping of what was measured to its figure
    cases     how many cases stand behind it, none dropped
    holds     whether the figure meets the claim

A proof that needs what may not be here has a function `absent() -> str | None` that tells the reason.
Sections of proofs that are not run again stay as they are.
"""

from __future__ import annotations

import importlib.util
import os
import platform
import re
import sys
import time
from collections.abc import Callable, Mapping
from importlib.metadata import version
from pathlib import Path
from types import ModuleType
from typing import Any

from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before NumPy, as the program itself does

ROOT = Path(__file__).resolve().parent.parent
PROOFS = ROOT / "tests" / "prove"
FIGURES = ROOT / "docs" / "figures.md"
HEAD = """# Figures

What is claimed, and what was measured. `make prove` measures all of it again and rewrites this page;
`make prove ONLY=name` measures one and keeps the rest. A proof that no longer holds says so here.
Speeds stand in [benchmarks](benchmarks.md).
"""
KEYS = {"claim", "measured", "cases", "holds"}
Result = Mapping[str, Any]
Report = Callable[[int, int], None]


def load(path: Path) -> ModuleType:
    """A proof's module, from its file."""
    spec = importlib.util.spec_from_file_location(f"prove_{path.stem}", path)
    if spec is None or spec.loader is None:
        raise ImportError(f"{path} is no Python file")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # worker processes and dataclasses look a module up by its name
    spec.loader.exec_module(module)
    return module


def machine() -> str:
    """The machine, told only by what bears on the figures."""
    return f"{os.cpu_count()} cores, Python {platform.python_version()}, NumPy {version('numpy')}"


def measured_lines(measured: str | Mapping[str, object]) -> list[str]:
    """The figure as a line, or several figures as a table."""
    if isinstance(measured, str):
        return [f"**Measured.** {measured}", ""]
    rows = [f"| {what} | {figure} |" for what, figure in measured.items()]
    return ["**Measured.**", "", "| what | figure |", "| --- | --- |", *rows, ""]


def section(name: str, title: str, result: Result, seconds: float) -> str:
    """One proof's section of the page."""
    if missing := KEYS - result.keys():
        raise KeyError(f"proof {name} returned no {', '.join(sorted(missing))}")
    lines = [f"<!-- proof: {name} -->", f"## {title.rstrip('.')}", "", f"**Claim.** {result['claim']}", ""]
    lines += measured_lines(result["measured"])
    lines += [f"**Holds.** {'yes' if result['holds'] else 'NO'}", ""]
    lines += [
        f"{result['cases']:,} cases in {seconds:.0f} s on {machine()}. Again with: `make prove ONLY={name}`.",
        "",
    ]
    return "\n".join(lines)


def sections(page: str) -> dict[str, str]:
    """The sections a page already has, by the proof's name."""
    parts = re.split(r"^<!-- proof: (\w+) -->\n", page, flags=re.M)
    return {
        name: f"<!-- proof: {name} -->\n{text.rstrip()}\n"
        for name, text in zip(parts[1::2], parts[2::2], strict=True)
    }


def merged(page: str, fresh: Mapping[str, str], known: set[str]) -> str:
    """The page with fresh sections in place of old ones; sections of proofs that are gone fall away."""
    kept = {name: text for name, text in sections(page).items() if name in known}
    every = kept | dict(fresh)
    return "\n".join([HEAD, *(every[name].rstrip() + "\n" for name in sorted(every))])


def run_one(path: Path, bars: Progress) -> tuple[str, bool] | None:
    """Run a proof under a progress bar; its section and whether it holds. None if it cannot be run here."""
    module = load(path)
    if reason := getattr(module, "absent", lambda: None)():
        bars.console.print(f"{path.stem}: left out, {reason}", markup=False)
        return None
    title = (module.__doc__ or path.stem).strip().splitlines()[0]
    bar = bars.add_task(path.stem, total=None)

    def report(done: int, total: int) -> None:
        bars.update(bar, completed=done, total=total)

    started = time.perf_counter()
    result: Result = module.run(report)
    seconds = time.perf_counter() - started
    text = section(path.stem, title, result, seconds)
    bars.console.print(f"{path.stem}: {'holds' if result['holds'] else 'DOES NOT HOLD'} ({seconds:.0f} s)")
    bars.console.print(f"  {result['claim']}\n  {result['measured']}", markup=False)
    return text, bool(result["holds"])


def main(names: list[str]) -> int:
    """Run the named proofs, or all; the exit status tells whether every one holds."""
    paths = {path.stem: path for path in sorted(PROOFS.glob("[a-z]*.py"))}
    if unknown := [name for name in names if name not in paths]:
        print(f"no proof named {', '.join(unknown)}; there are: {', '.join(paths) or 'none'}")
        return 2
    sys.path.insert(0, str(PROOFS))  # proofs may share an oracle that lies beside them
    everything_holds = True
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, TimeElapsedColumn(), TimeRemainingColumn()) as bars:
        for name in names or paths:
            found = run_one(paths[name], bars)
            if found is None:
                continue
            text, holds = found
            everything_holds &= holds
            page = FIGURES.read_text(encoding="utf-8") if FIGURES.exists() else ""
            known = {path.stem for path in PROOFS.glob("[a-z]*.py")}  # now: a proof may be new by the end
            FIGURES.write_text(merged(page, {name: text}, known), encoding="utf-8")
    return 0 if everything_holds else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
