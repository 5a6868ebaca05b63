"""Docstrings of the core: every argument and result has a unit, and every example runs.

The outside authority is the numpydoc format (numpydoc documentation, "Style guide", sections 4 and 5) for the
layout, and doctest of the standard library for the examples.
"""

from __future__ import annotations

import ast
import doctest
import importlib
import pkgutil
from pathlib import Path

import pytest

import house_rules
import spoolwright.core

SOURCE = Path(spoolwright.core.__file__).parent.parent
PHYSICS = sorted([*(SOURCE / "core").rglob("*.py"), *SOURCE.rglob("calc.py")])
MODULES = sorted(m.name for m in pkgutil.walk_packages(spoolwright.core.__path__, "spoolwright.core."))


@pytest.mark.parametrize("path", PHYSICS, ids=lambda path: str(path.relative_to(SOURCE)))
def test_every_argument_and_result_has_a_unit(path: Path) -> None:
    assert list(house_rules.docstring_faults(ast.parse(path.read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.failed == 0, f"{result.failed} of {result.attempted} examples in {name} gave something else"


def test_the_core_shows_examples() -> None:
    finder = doctest.DocTestFinder()
    examples = [e for name in MODULES for t in finder.find(importlib.import_module(name)) for e in t.examples]
    assert len(examples) >= 10
