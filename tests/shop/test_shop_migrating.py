"""Tables are made and brought to the newest form when a shop is opened; on each database."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text

from shop.fixtures import Place
from spoolwright.bootstrap.shop import open_shop
from spoolwright.errors import InputError, OutputError
from spoolwright.store import migrating
from spoolwright.store.database import StoreError
from spoolwright.store.tables import METADATA


def test_the_steps_lead_to_the_tables_that_the_program_uses(place: Place) -> None:
    shop = place.open()
    with shop.database.read() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        found = compare_metadata(context, METADATA)
        assert migrating.revision_of(connection) == migrating.NEWEST
    assert found == []
    shop.close()


def test_the_newest_form_is_the_last_step() -> None:
    steps = ScriptDirectory(str(Path(migrating.__file__).parent / "migrations"))
    assert steps.get_heads() == [migrating.NEWEST]


def test_opening_again_changes_nothing_and_many_may_open_at_once(place: Place) -> None:
    with ThreadPoolExecutor(4) as pool:
        shops = list(pool.map(lambda _: place.open(), range(4)))
    heads = {shop.records.head() for shop in shops}
    assert heads == {(0, "0" * 64)}
    for shop in shops:
        shop.close()


def test_tables_of_a_newer_version_are_left_alone(place: Place) -> None:
    shop = place.open()
    with shop.database.write() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(StoreError, match="written by a newer version of the program"):
        place.open()
    shop.close()


def test_a_place_that_cannot_be_one_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="cannot be made"):
        open_shop(None, tmp_path / "file" / "shop")
    with pytest.raises(InputError, match="URL cannot be read"):
        open_shop("nonsense", tmp_path / "a")
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "shop.sqlite").write_bytes(
        b"no database at all, but long enough to be read as one" * 20
    )
    with pytest.raises(StoreError, match="not a database"):
        open_shop(None, tmp_path / "b")
    with pytest.raises(StoreError, match="cannot"):
        open_shop("postgresql://nobody@127.0.0.1:1/none", tmp_path / "c")
