"""House rules that no general linter knows: sizes, file names, words, and units in docstrings."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import docstrings

FILE_LINES = 400
FUNCTION_LINES = 40
NAMELESS = {"utils.py", "util.py", "helpers.py", "helper.py", "common.py", "misc.py"}
ENDS_IN_UNIT = re.compile(r"\[[^\[\]\s][^\[\]]{0,39}\]\.?$")
FORBIDDEN = {
    "a path of one machine": re.compile(r"(?<![\w.])/(?:work|root)/"),
    "a package registry's host": re.compile(r"files\.pythonhosted|pypi\.org|registry\.npmjs|deb\.debian"),
    "a word that is not about the project": re.compile(
        r"\b(?:chat[b]ot|language[ ]model|AI[ ]assistant|sub-?[a]gents?|co-authored[-]by|generated[ ]with)\b",
        re.I,
    ),
}


def tracked_files(root: Path) -> list[Path]:
    """Every file under version control that still exists."""
    listing = subprocess.run(["git", "ls-files", "-z"], cwd=root, capture_output=True, text=True, check=True)
    return [path for name in listing.stdout.split("\0") if name and (path := root / name).is_file()]


def text_of(path: Path) -> str | None:
    """A file's text, or None when it is not text."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return None


def word_faults(text: str) -> Iterator[tuple[int, str]]:
    """Words that have no place in the repository."""
    for number, line in enumerate(text.splitlines(), start=1):
        for reason, pattern in FORBIDDEN.items():
            if found := pattern.search(line):
                yield number, f"'{found.group()}' is {reason}: say it without"


def body_lines(function: docstrings.Function) -> int:
    """Lines of a function's body, its docstring left out."""
    body = function.body[1:] if ast.get_docstring(function) else function.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def size_faults(tree: ast.Module, text: str) -> Iterator[tuple[int, str]]:
    """A file or function that has outgrown its budget."""
    length = len(text.splitlines())
    if length > FILE_LINES:
        yield length, f"file has {length} lines, at most {FILE_LINES}: split it by what it does"
    for node in ast.walk(tree):
        if isinstance(node, docstrings.Function) and (lines := body_lines(node)) > FUNCTION_LINES:
            yield node.lineno, f"{node.name} has {lines} lines, at most {FUNCTION_LINES}: name its steps"


def entry_faults(name: str, doc: docstrings.Docstring) -> Iterator[str]:
    """Described parameters and results whose description does not end in a unit."""
    for section in ("Parameters", "Returns", "Yields"):
        for entry in doc.entries(section):
            if not ENDS_IN_UNIT.search(entry.text or entry.head):
                yield f"{name}: '{entry.head}' under {section} must end in its unit, as [K] or [-]"


def function_faults(function: docstrings.Function, name: str) -> Iterator[str]:
    """What a public function of the core must tell: every argument and result with its unit."""
    text = ast.get_docstring(function)
    if not text:
        yield f"{name} has no docstring"
        return
    doc = docstrings.parse(text)
    if not doc.sections and "\n" not in text and ENDS_IN_UNIT.search(text):
        return  # an elementary function: one line that ends in the unit of argument and result
    yield from entry_faults(name, doc)
    heads = " ".join(entry.head.split(":")[0] for entry in doc.entries("Parameters"))
    untold = [
        a
        for a in docstrings.argument_names(function)
        if not re.search(rf"(?<!\w){re.escape(a)}(?!\w)", heads)
    ]
    if untold:
        yield f"{name}: no entry under Parameters for {', '.join(untold)}"
    if docstrings.returns_something(function) and not {"Returns", "Yields"} & doc.sections.keys():
        yield f"{name}: no Returns section"


def docstring_faults(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Missing docstrings, arguments and units among a module's public names."""
    for function in docstrings.public_functions(tree):
        for fault in function_faults(function, function.name):
            yield function.lineno, fault
    for owner in docstrings.public_classes(tree):
        text = ast.get_docstring(owner)
        if not text:
            yield owner.lineno, f"{owner.name} has no docstring"
        for fault in entry_faults(owner.name, docstrings.parse(text or "")):
            yield owner.lineno, fault
        for method in docstrings.public_methods(owner):
            name = f"{owner.name}.{method.name}"
            doc = ast.get_docstring(method)
            for fault in entry_faults(name, docstrings.parse(doc)) if doc else [f"{name} has no docstring"]:
                yield method.lineno, fault


def needs_units(relative: Path) -> bool:
    """Whether a file holds physics: anything in the core, and each craft's calc.py."""
    return relative.parts[:3] == ("src", "spoolwright", "core") or relative.name == "calc.py"


def python_faults(relative: Path, text: str) -> Iterator[tuple[int, str]]:
    """Everything that is wrong with one Python file."""
    if relative.name in NAMELESS:
        yield 1, f"{relative.name} says nothing about what is in it: name the file after its subject"
    tree = ast.parse(text)
    yield from size_faults(tree, text)
    if needs_units(relative):
        yield from docstring_faults(tree)


def faults(root: Path, paths: list[Path]) -> Iterator[str]:
    """Every fault in the given files, as lines that an editor can jump to."""
    for path in paths:
        text = text_of(path)
        if text is None:
            continue
        relative = path.relative_to(root)
        found = list(word_faults(text))
        if path.suffix == ".py":
            found += python_faults(relative, text)
        for line, what in sorted(found):
            yield f"{relative}:{line}: {what}"


def main() -> int:
    """Print every fault; the exit status tells whether there was one."""
    root = Path(__file__).resolve().parent.parent
    paths = tracked_files(root)
    found = list(faults(root, paths))
    print("\n".join(found) or f"house rules: {len(paths)} files, no fault")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
