"""Ledgers: whatever a table holds is read or refused with a sentence; one changed figure never passes."""

from __future__ import annotations

import random
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "reference"))
from life_building import Card, life
from life_planting import moved
from life_reading import EXCHANGE, as_table, read, seen_by

from spoolwright.crafts.life.ledger import read_ledger
from spoolwright.errors import InputError
from spoolwright.sources.life_csv import COLUMNS, ledgers_from

FIGURES = [
    c for c in COLUMNS if c.endswith(("_on", "_off")) and c not in ("part_starts_on", "part_starts_off")
]


@given(st.integers(0, 10**9), st.data())
@settings(max_examples=150, deadline=None)
def test_one_changed_figure_on_a_sound_card_is_always_seen(seed: int, data: st.DataObject) -> None:
    """By an hour, a cycle or a start at least, so that rounding to tenths cannot hide it."""
    card = life(random.Random(seed))
    line = data.draw(st.sampled_from(card.lines))
    cell = data.draw(st.sampled_from(FIGURES))
    line[cell] = moved(line[cell], Decimal(data.draw(st.integers(1, 50000))))
    ledger = read(card)
    assert not ledger.proven, (cell, line)


@given(st.integers(0, 10**9), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_the_order_of_the_rows_tells_nothing(seed: int, shuffle: random.Random) -> None:
    card = life(random.Random(seed))
    before = read(card)
    shuffle.shuffle(card.rows)
    after = read(card)
    assert (after.totals, seen_by(after), after.stated) == (before.totals, set(), before.stated)


CELL = st.one_of(
    st.sampled_from(["", "0", "1430", "1:30", "-3", "1e9", "nan", "2012-05-02", "0000-00-00", "birth"]),
    st.sampled_from(["full=1", "full=x", "a", "T1", "installed", "still fitted", '"', "x" * 300]),
    st.text(max_size=8),
)


@given(st.lists(st.dictionaries(st.sampled_from(COLUMNS), CELL, max_size=12), max_size=6))
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_table_is_read_or_refused_with_a_sentence(rows: list[dict[str, str]]) -> None:
    table = [{"part_number": "Z-10", "serial": "S1", "event": "use"} | r for r in rows]
    try:
        cards = ledgers_from(as_table(Card(table, "tenths")), "t.csv")
    except InputError as error:
        assert str(error)
        return
    for c in cards:
        ledger = read_ledger(c.part_number, c.serial, c.born, c.lines, EXCHANGE)
        assert not ledger.proven or (ledger.born is not None and all(ledger.whole.values()))


@given(st.binary(max_size=300))
@settings(max_examples=200, deadline=None)
def test_any_bytes_are_refused_with_a_sentence(content: bytes) -> None:
    with pytest.raises(InputError):
        ledgers_from(content, "t.csv")
