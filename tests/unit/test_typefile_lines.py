"""The line of every key and element of a TOML text, against tomllib and tokens that tell their own line."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spoolwright.sources.toml_lines import line_numbers, line_of
from spoolwright.sources.typefile import shipped_type


def walk(value: Any, path: tuple[Any, ...] = ()) -> dict[tuple[Any, ...], Any]:
    """Every path of a parsed document with its value, the document itself left out."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    out = {path: value} if path else {}
    for k, v in items:
        out |= walk(v, (*path, k))
    return out


def test_the_shipped_file_has_a_line_for_every_path() -> None:
    text = shipped_type().read_text(encoding="utf-8")
    lines = line_numbers(text)
    assert set(lines) == set(walk(tomllib.loads(text)))
    rows = text.split("\n")
    for path, line in lines.items():
        if isinstance(path[-1], str):
            assert path[-1] in rows[line - 1], path


TRICKY = [
    '"plain"',
    "'literal \\'",
    '"with \\" quote and # no comment"',
    '"""one line"""',
    '"""two\nlines"""',
    '"""ends with quotes"""""',
    '"""has ""two"" inside\n\\""" and goes on"""',
    "'''literal ''two''\n'''",
    "'''ends with quotes'''''",
    '""',
    '""""""',
    "1979-05-27 07:32:00",
    "-1.5e-3",
    "true",
    "[]",
    "{}",
    "[ # comment ]\n  1,\n]",
    "{ a = 1, 'b c'.d = [ { e = 2 } ] }",
    '[ "]", \'}\', """\n]""" ]',
]
KEYS = ["key", '"quoted key"', "'literal'", "a.b", 'a . "b.c"', "1-2_3", '"with # and ]"']


@given(st.lists(st.tuples(st.integers(0, 2), st.sampled_from(KEYS), st.sampled_from(TRICKY)), max_size=12))
def test_tricky_values_do_not_shift_the_lines_that_follow(rows: list[tuple[int, str, str]]) -> None:
    """After each tricky value stands a token equal to its own line number; it must be found on that line."""
    text = ""
    for i, (header, key, value) in enumerate(rows):
        head = ["", f'[t{i}."x ]"]\n', f"[[list]] # {i}\n"][header]
        text += (
            f"{head}{i}{key} = {value}  # comment\n"
            if key[0] not in "\"'"
            else f"{head}t{i}.{key} = {value}\n"
        )
        text += f"token{i} = [\n  {text.count(chr(10)) + 2},\n]\n"
    document = tomllib.loads(text)
    lines = line_numbers(text)
    assert set(lines) == set(walk(document))
    for path, value in walk(document).items():
        if len(path) > 1 and str(path[-2]).startswith("token"):
            assert lines[path] == value


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_either_end_of_line_counts(newline: str) -> None:
    text = newline.join(["a = 1", "", "[[b]]", "c = 2", "[[b]]", "c = [", "1,", "2]"])
    lines = line_numbers(text)
    assert lines["a",] == 1 and lines["b", 0, "c"] == 4 and lines["b", 1] == 5 and lines["b", 1, "c", 1] == 8


def test_a_path_that_is_not_there_has_the_line_of_what_is_around_it() -> None:
    lines = line_numbers("[a]\nb = { c = 1 }\n")
    assert line_of(("a", "b", "d"), lines) == 2
    assert line_of(("a", "z"), lines) == 1
    assert line_of(("q",), lines) is None


@given(st.text(alphabet="abc=\"'[]{}.,#\n \\\t1", max_size=60))
def test_text_that_is_no_toml_ends_quietly(text: str) -> None:
    assert all(1 <= n <= text.count("\n") + 1 for n in line_numbers(text).values())
