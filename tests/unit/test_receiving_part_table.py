"""The table of parts: what is written reads back the same; every mistake is told with its line."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.memory import demonstration_type
from spoolwright.crafts.receiving.part_table import PartTableError, parts_from_csv, parts_to_csv
from spoolwright.crafts.visit.parts import PartFitted
from spoolwright.errors import InputError, SpoolwrightError

BILL = demonstration_type().shop.part
ON = date(2026, 5, 4)


def read(text: str) -> list[PartFitted]:
    return parts_from_csv(text, "parts.csv", BILL, "C940-117", {"compressor": "CM-7"}, ON)


PLATE = st.from_regex(r"[A-Za-z0-9\"',;/. \-]{1,20}", fullmatch=True).map(str.strip).filter(bool)


@given(st.lists(st.tuples(st.sampled_from(BILL), PLATE, PLATE), max_size=8, unique_by=lambda t: (t[1], t[2])))
def test_what_is_written_reads_back_the_same(rows: list[tuple[object, str, str]]) -> None:
    parts = [
        PartFitted(
            part=kind.id,  # type: ignore[attr-defined]
            part_number=number,
            serial=serial,
            module=kind.module,  # type: ignore[attr-defined]
            engine_serial="C940-117",
            module_serial="M-1",
            on=ON,
        )
        for kind, number, serial in rows
    ]
    assert read(parts_to_csv(parts)) == parts


def test_a_row_without_an_id_is_taken_by_its_number_and_gets_its_modules_serial() -> None:
    (part,) = read("part_number,serial\n940-212-3,IM-9\n")
    assert (part.part, part.module, part.module_serial) == ("impeller", "compressor", "CM-7")


def test_every_mistake_is_told_with_its_line() -> None:
    part = "impeller,940-212-4"
    text = f"part,part_number,serial\n{part},\nnothing,1,2\n{part},A\n{part},A\na\n"
    with pytest.raises(PartTableError) as told:
        read(text)
    assert [(p.line, p.where) for p in told.value.problems] == [
        (2, "serial"),
        (3, "part"),
        (5, "serial"),
        (6, "row"),
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no column part_number, serial"),
        ("part_number,serial,colour\n", "unknown column 'colour'"),
        ("part_number,serial,serial\n", "column serial twice"),
        ('part_number,serial\n"940', "not a CSV table"),
    ],
)
def test_a_table_that_is_none_says_so(text: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        read(text)


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        parts = read("part_number,serial\n" + text)
    except SpoolwrightError as told:
        assert "parts.csv" in str(told)
    else:
        assert all(p.part_number and p.serial for p in parts)
