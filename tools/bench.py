"""Run the benchmarks and write docs/benchmarks.md: each script's table as it was printed.

A benchmark is a file benchmarks/NAME.py whose docstring's first line is its title and which prints a table.
One that finds no fitting machine says why and exits with 3: its section stays as it was.
"""

from __future__ import annotations

import ast
import os
import platform
import re
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SCRIPTS = ROOT / "benchmarks"
PAGE = ROOT / "docs" / "benchmarks.md"
SKIPPED = 3
HEAD = """# Benchmarks

Tables as the scripts printed them, side by side in one run each. Machines are noisy: read the ratios.
`make bench` runs them again and rewrites this page; `make bench ONLY=name` runs one. The GPU script skips
where there is no GPU.
"""


def title(path: Path) -> str:
    """First line of a script's docstring."""
    return (ast.get_docstring(ast.parse(path.read_text())) or path.stem).splitlines()[0].rstrip(".")


def run(path: Path) -> tuple[int, str]:
    """Run a script, show what it prints as it comes; its exit status and what it printed."""
    lines = []
    with subprocess.Popen(
        [sys.executable, "-u", str(path)], stdout=subprocess.PIPE, text=True, cwd=ROOT
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            print(line, end="", flush=True)
            lines.append(line)
    return process.returncode, "".join(lines)


def section(path: Path, printed: str, machine: str) -> str:
    """One script's section of the page."""
    shown = re.sub(r"\x1b\[[0-9;]*m", "", printed).rstrip()
    return (
        f"<!-- benchmark: {path.stem} -->\n## {title(path)}\n\n"
        f"On {machine}. Again with: `make bench ONLY={path.stem}`.\n\n```text\n{shown}\n```\n"
    )


def sections(page: str) -> dict[str, str]:
    """The sections that a page already has, by the script's name."""
    parts = re.split(r"^<!-- benchmark: (\w+) -->\n", page, flags=re.M)
    return {
        name: f"<!-- benchmark: {name} -->\n{text.rstrip()}\n"
        for name, text in zip(parts[1::2], parts[2::2], strict=True)
    }


def main(names: list[str]) -> int:
    """Run the named benchmarks, or all."""
    paths = {p.stem: p for p in sorted(SCRIPTS.glob("[a-z]*.py"))}
    if unknown := [n for n in names if n not in paths]:
        print(f"no benchmark named {', '.join(unknown)}; there are: {', '.join(paths)}")
        return 2
    machine = f"{os.cpu_count()} cores, Python {platform.python_version()}, NumPy {version('numpy')}"
    failed = 0
    for name in names or paths:
        print(f"\n== {name}", flush=True)
        status, printed = run(paths[name])
        if status == SKIPPED:
            continue
        failed |= status != 0
        if status == 0:
            old = sections(PAGE.read_text(encoding="utf-8")) if PAGE.exists() else {}
            every = {k: v for k, v in old.items() if k in paths} | {
                name: section(paths[name], printed, machine)
            }
            PAGE.write_text("\n".join([HEAD, *(every[k] for k in sorted(every))]), encoding="utf-8")
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
