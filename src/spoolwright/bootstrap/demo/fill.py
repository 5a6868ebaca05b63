"""Fills a new shop with the demonstration: people, store, a dozen engines at all stages."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from spoolwright.bootstrap.demo.engines import ENGINES, Planned
from spoolwright.bootstrap.demo.fleet_lives import discs_of_the_fleet
from spoolwright.bootstrap.demo.parts import stocks_the_store
from spoolwright.bootstrap.demo.people import adopt_tables, hire
from spoolwright.bootstrap.demo.runs import Bench
from spoolwright.bootstrap.demo.story import Story
from spoolwright.bootstrap.progress import Tell, silent
from spoolwright.bootstrap.shop import Shop, open_shop
from spoolwright.errors import OutputError
from spoolwright.sources.typefile import load_type, shipped_type


def fill_demo(folder: Path, progress: Tell = silent, engines: tuple[Planned, ...] = ENGINES) -> Shop:
    """A new shop in a folder, filled with the demonstration; gives it open.

    Raises
    ------
    OutputError
        There is a shop in the folder already.
    """
    if (folder / "shop.sqlite").exists():
        raise OutputError(
            "there is a shop already.", where=str(folder), mend="Name another folder, or serve this one."
        )
    now = datetime.now(UTC).replace(hour=8, minute=0, second=0, microsecond=0) - timedelta(days=1)
    shop = open_shop(None, folder)
    progress("hiring people, stocking the store", 0.0)
    shop.types.adopt(shipped_type(), by="lena", at=now - timedelta(days=710))
    hire(shop, now)
    adopt_tables(shop, now - timedelta(days=400))
    began = now - timedelta(days=200)
    stocks_the_store(shop, shop.desk("rex", began), shop.desk("ines", began))
    discs_of_the_fleet(shop.desk("rex", began))
    bench = Bench(load_type(shipped_type()))
    for n, planned in enumerate(sorted(engines, key=lambda e: -e.days_ago)):
        progress(f"engine {planned.serial}", (n + 0.5) / (len(engines) + 1))
        story = Story(
            shop, planned.number, planned.serial, now - timedelta(days=planned.days_ago), now, planned.counts
        )
        planned.tell(story, bench)
    return shop
