"""A shop with engines at several stages, for tests that look at pages, and a server for it."""

from __future__ import annotations

import struct
import threading
import time
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import uvicorn

from shop.fixtures import NOON, FilledShop
from spoolwright.crafts.visit.entry import New
from spoolwright.crafts.visit.model import NoteTaken, Stage, StageSet, VisitOpened, WorkEvent
from spoolwright.web.app import create_app
from spoolwright.web.settings import Settings

CUSTOMER = "Holm Utility Helicopters"
WAITS = ("", "two seals", "the customer's order", "", "certificate of the nozzle ring", "test cell on Friday")


@dataclass(frozen=True)
class Served:
    """A shop behind a server on this machine."""

    shop: FilledShop
    address: str


def picture(width: int = 64, height: int = 48) -> bytes:
    """A small PNG (ISO/IEC 15948): a grey wedge."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    rows = b"".join(b"\0" + bytes(4 * x % 256 for x in range(width)) for _ in range(height))
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    parts = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


def engines(shop: FilledShop, how_many: int = 10) -> None:
    """Engines W101 and on, one at each stage; the last has a module out and a note with a photograph."""
    stages = list(Stage)
    for n in range(how_many):
        number = f"W{101 + n}"
        opened = VisitOpened(
            number=number,
            engine_serial=f"C940-{130 + 13 * n}",
            type_id="corrie_940",
            customer=CUSTOMER,
            reason_for_removal="low power" if n % 2 else "time between overhauls reached",
            received_on=date(2026, 3, 2) + timedelta(days=4 * n),
            promised_on=date(2026, 5, 1) + timedelta(days=6 * n) if n % 5 else None,
            time_since_new_h=4321.5 + 100 * n,
            cycles_since_new=3870.0 + n,
        )
        stage = StageSet(stage=stages[n % 10], waits_for=WAITS[n % 6])
        news = [
            New(f"visit/{number}", opened, visit=number),
            New(f"visit/{number}/stage", stage, visit=number),
        ]
        shop.records.add(news, by="lena", at=NOON - timedelta(days=20 - n))
    last = f"W{100 + how_many}"
    photo = shop.attachments.keep(picture(), "nick.png", "image/png")
    note = NoteTaken(text="A nick in the first stage, blade 7.", module="compressor", files=(photo,))
    out = WorkEvent(what="removed", item="power_turbine", module="power_turbine", serial="PT-33")
    news = [New(f"visit/{last}/note/1", note, visit=last), New(f"visit/{last}/event/1", out, visit=last)]
    shop.records.add(news, by="ines", at=NOON)


@contextmanager
def serving(shop: FilledShop, now: datetime = NOON) -> Iterator[Served]:
    """The shop's pages behind a real server on a free port."""
    app = create_app(shop.shop, Settings(clock=lambda: now))
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield Served(shop, f"http://127.0.0.1:{port}")
    server.should_exit = True
    thread.join(10)
