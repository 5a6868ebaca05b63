"""Whatever the file is, the answer is a list of mistakes or a type file: never a traceback, never a hang."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from spoolwright.crafts.typefile.check import find_mistakes
from spoolwright.crafts.typefile.checking.draft import frozen
from spoolwright.crafts.typefile.engine import engine_of
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError, TypeFileError
from spoolwright.sources.plainfile import LARGEST
from spoolwright.sources.typefile import load_type, shipped_type

TEXT = shipped_type().read_text(encoding="utf-8")
RAW = tomllib.loads(TEXT)
IN_TMP = settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])


def outcome(data: bytes, tmp_path: Path) -> str:
    path = tmp_path / "type.toml"
    path.write_bytes(data)
    try:
        load_type(path)
    except TypeFileError as error:
        assert error.problems and error.exit_code == 4
        assert all(p.what and p.mend and p.file == "type.toml" for p in error.problems)
        assert "\x1b" not in str(error)
        return "mistakes"
    except InputError as error:
        assert error.exit_code == 4
        return "refused"
    return "loaded"


@given(st.binary(max_size=400))
@IN_TMP
def test_any_bytes(tmp_path: Path, data: bytes) -> None:
    assert outcome(data, tmp_path) in ("mistakes", "refused")


@given(st.text(max_size=300))
@IN_TMP
def test_any_text(tmp_path: Path, text: str) -> None:
    assert outcome(text.encode("utf-8", "surrogatepass"), tmp_path) in ("mistakes", "refused")


@given(st.integers(0, len(TEXT)), st.integers(0, 200), st.text(max_size=20))
@IN_TMP
def test_a_span_of_the_shipped_file_overwritten(tmp_path: Path, at: int, length: int, new: str) -> None:
    text = TEXT[:at] + new + TEXT[at + length :]
    assert outcome(text.encode("utf-8", "surrogatepass"), tmp_path) in ("mistakes", "loaded")


@given(st.integers(0, len(TEXT.encode())))
@IN_TMP
def test_the_shipped_file_cut_off(tmp_path: Path, at: int) -> None:
    assert outcome(TEXT.encode()[:at], tmp_path) in ("mistakes", "loaded")


SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.just(10**400),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(["ng", "take_off", "rpm", "degC", "max", "", "power_at_rated_mgt", "new"]),
    st.dates(),
)
VALUES = st.recursive(
    SCALARS,
    lambda v: st.lists(v, max_size=3) | st.dictionaries(st.text(max_size=6), v, max_size=3),
    max_leaves=6,
)


def places(raw: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    items = raw.items() if isinstance(raw, dict) else enumerate(raw) if isinstance(raw, list) else ()
    return [p for k, v in items for p in [(*path, k), *places(v, (*path, k))]]


PLACES = places(RAW)


@given(st.lists(st.tuples(st.sampled_from(PLACES), VALUES), min_size=1, max_size=4))
@settings(max_examples=150)
def test_any_value_in_any_place(changes: list[tuple[tuple[Any, ...], Any]]) -> None:
    """No check stumbles over what another found; what passes all has an engine that can be built."""
    raw = copy.deepcopy(RAW)
    for path, value in changes:
        inside: Any = raw
        try:
            for step in path[:-1]:
                inside = inside[step]
            inside[path[-1]] = value
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change has taken the place away
    mistakes = find_mistakes(raw)
    assert all(m.what and m.mend for m in mistakes)
    if not mistakes:
        engine_of(TypeFile.model_validate(frozen(raw), strict=True))


@given(st.sampled_from(PLACES))
@settings(max_examples=60)
def test_anything_left_out(path: tuple[Any, ...]) -> None:
    raw = copy.deepcopy(RAW)
    inside: Any = raw
    for step in path[:-1]:
        inside = inside[step]
    del inside[path[-1]]
    if not find_mistakes(raw):
        engine_of(TypeFile.model_validate(frozen(raw), strict=True))


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("empty", b""),
        ("byte order mark alone", b"\xef\xbb\xbf"),
        ("UTF-16", TEXT.encode("utf-16")),
        ("NUL bytes", b"\x00" * 1000),
        ("deep list", b"x = " + b"[" * 100_000),
        ("closed deep list", b"x = " + b"[" * 5000 + b"]" * 5000),
        ("deep table", b"[" + b".".join([b"a"] * 50_000) + b"]"),
        ("deep key in a list", b"x = [{" + b".".join([b"a"] * 50_000) + b" = 1}]"),
        ("endless number", b"format = " + b"9" * 100_000),
        ("impossible date", b"[[document]]\ndated = 2026-13-45"),
        ("many unknown keys", b"".join(b"k%d = 1\n" % i for i in range(100_000))),
        ("many bad channels", b"[[channel]]\nz = 1\n" * 60_000),
        ("long key", b"a" * 1_000_000 + b" = 1"),
        ("long text", b'format = "' + b"x" * 1_000_000 + b'"'),
        ("escape sequences", b'format = 1\n"\\u001b[31m" = 1\n'),
        ("same limit many times", b'[[limit]]\nid="a"\nquantity="p_oil"\nbound="max"\n' * 30_000),
    ],
)
def test_hostile_files_are_answered_in_time(name: str, data: bytes, tmp_path: Path) -> None:
    assert len(data) <= LARGEST
    assert outcome(data, tmp_path) == "mistakes"


def test_many_valid_limits_do_not_take_for_ever(tmp_path: Path) -> None:
    start = TEXT.index('[[limit]]\nid = "coast_down"')
    block = TEXT[start : TEXT.index("[[limit]]", start + 5)]
    many = "\n".join(
        block.replace("coast_down", f"c{i}", 1).replace("= 28", f"= {28 + i / 1e4}") for i in range(1, 1900)
    )
    assert outcome((TEXT + "\n" + many).encode(), tmp_path) == "loaded"


def test_a_file_too_large_is_not_read_whole(tmp_path: Path) -> None:
    assert outcome(b"#" * (LARGEST + 1), tmp_path) == "refused"


@pytest.mark.parametrize("path", ["/nonexistent/type.toml", "/", "/dev/null"])
def test_no_file_to_read(path: str) -> None:
    with pytest.raises(InputError):
        load_type(path)
