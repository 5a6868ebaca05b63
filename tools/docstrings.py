"""Read numpydoc docstrings from source text, without importing the package."""

from __future__ import annotations

import ast
import inspect
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

Function = ast.FunctionDef | ast.AsyncFunctionDef
_RULE = re.compile(r"-{3,}")


@dataclass(frozen=True)
class Entry:
    """One described item of a section: its head line and the description under it."""

    head: str
    text: str


@dataclass(frozen=True)
class Docstring:
    """The summary (with any further opening text) and the named sections, each as plain lines."""

    summary: str
    sections: dict[str, list[str]] = field(default_factory=dict)

    def entries(self, name: str) -> list[Entry]:
        """The items of a section: a line at the margin opens one, indented lines describe it."""
        found: list[Entry] = []
        for line in self.sections.get(name, []):
            if line and not line[0].isspace():
                found.append(Entry(line.strip(), ""))
            elif line.strip() and found:
                found[-1] = Entry(found[-1].head, f"{found[-1].text} {line.strip()}".strip())
        return found


def parse(text: str) -> Docstring:
    """Split a docstring into its opening text and its underlined sections."""
    lines = inspect.cleandoc(text).splitlines()
    starts = [i for i, line in enumerate(lines[1:]) if _RULE.fullmatch(line.strip()) and lines[i].strip()]
    opening = lines[: starts[0]] if starts else lines
    ends = [*starts[1:], len(lines)][: len(starts)]
    bodies = [lines[start + 2 : end] for start, end in zip(starts, ends, strict=True)]
    sections = dict(zip((lines[start].strip() for start in starts), bodies, strict=True))
    return Docstring("\n".join(opening).strip(), sections)


def is_public(name: str) -> bool:
    """Whether a name is meant for use from outside its module."""
    return not name.startswith("_")


def public_functions(tree: ast.Module) -> Iterator[Function]:
    """Functions at the top of a module that carry no leading underscore."""
    for node in tree.body:
        if isinstance(node, Function) and is_public(node.name):
            yield node


def public_classes(tree: ast.Module) -> Iterator[ast.ClassDef]:
    """Classes at the top of a module that carry no leading underscore."""
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and is_public(node.name):
            yield node


def public_methods(owner: ast.ClassDef) -> Iterator[Function]:
    """Methods and properties of a class that carry no leading underscore."""
    for node in owner.body:
        if isinstance(node, Function) and is_public(node.name):
            yield node


def argument_names(function: Function) -> list[str]:
    """Names of a function's arguments, the instance or class left out."""
    a = function.args
    every = [*a.posonlyargs, *a.args, a.vararg, *a.kwonlyargs, a.kwarg]
    return [arg.arg for arg in every if arg is not None and arg.arg not in ("self", "cls")]


def returns_something(function: Function) -> bool:
    """Whether the annotation promises a value."""
    return function.returns is not None and ast.unparse(function.returns) not in ("None", "NoReturn")
