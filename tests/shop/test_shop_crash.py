"""Nothing that was acknowledged is lost: a fixed-seed slice of what `make prove ONLY=store` does in full."""

from __future__ import annotations

from pathlib import Path

import pytest

from shop import power_cut
from shop.edits import AGAINST_PRINT, EDITS, FOUND, REFUSED, edit_live_content, with_guards
from shop.fixtures import Place
from shop.writers import kill_at_random


def test_killed_writers_lose_nothing_that_was_acknowledged(place: Place) -> None:
    found = kill_at_random(place.url, place.folder, kills=12, seed=1)
    assert found.broken == []
    assert found.told > 0
    assert found.processes >= 12


@pytest.mark.skipif(power_cut.absent() is not None, reason=power_cut.absent() or "")
def test_power_cuts_lose_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    library = power_cut.build(tmp_path)
    found = power_cut.cut_at_random(_new(tmp_path / "sync"), library, cuts=5, seed=1, batches=8)
    assert found.broken == []
    assert found.told > 0
    assert found.dropped > 0


@pytest.mark.skipif(power_cut.absent() is not None, reason=power_cut.absent() or "")
def test_without_its_flushes_the_store_would_lose_records(tmp_path: Path) -> None:
    """The negative control: the power cuts do lose what was not flushed."""
    library = power_cut.build(tmp_path)
    found = power_cut.cut_at_random(_new(tmp_path / "nosync"), library, cuts=4, seed=1, batches=8, sync=False)
    assert any("lost:" in what for what in found.broken)


def test_edits_of_live_content_are_refused_or_found(tmp_path: Path) -> None:
    found = edit_live_content(tmp_path, {edit: max(3, count // 50) for edit, count in EDITS.items()}, seed=1)
    assert found.missed == 0, found.missed_at
    assert set(found.ends[with_guards.__name__]) == {REFUSED}
    assert all(set(found.ends[edit.__name__]) == {FOUND} for edit in AGAINST_PRINT)


def _new(folder: Path) -> Path:
    folder.mkdir()
    return folder
