"""Writers that can be killed: processes that sign records and tell each one that was acknowledged.

A batch is one to three signed notes, the first with a file; its name and size stand in every note, so that
half a batch would show. A name goes to the teller only after the store has said that the batch is recorded.
"""

from __future__ import annotations

import os
import random
import signal
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path

from spoolwright.bootstrap.shop import Shop, open_shop
from spoolwright.crafts.visit.desk import signed
from spoolwright.crafts.visit.entry import Meaning, New
from spoolwright.crafts.visit.model import NoteTaken
from spoolwright.crafts.visit.people import AuthorisationGiven, PersonKnown, Role

NOON = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
WRITERS = 8


def begin(url: str | None, folder: Path) -> None:
    """A shop with one builder."""
    shop = open_shop(url, folder)
    shop.people.add(PersonKnown(login="ada", name="Ada Lund", roles=(Role.BUILDER,)), at=NOON)
    given = AuthorisationGiven(login="ada", number="F-1", role=Role.BUILDER, expires_on=date(2027, 1, 1))
    shop.people.authorise(given, at=NOON)
    shop.close()


def write_batches(shop: Shop, name: str, draw: random.Random, tell: Callable[[str], None], most: int) -> None:
    """Sign batch after batch; `tell` gets the name of each that is recorded."""
    desk = shop.desk("ada", NOON)
    for n in range(most):
        batch, size = f"{name}.{n}", draw.randint(1, 3)
        content = draw.randbytes(draw.randint(100, 20_000))
        news = []
        for i in range(size):
            files = (shop.attachments.keep(content, f"{batch}.jpg", "image/jpeg"),) if i == 0 else ()
            note = NoteTaken(text=f"{batch} {size} " + "x" * draw.randint(0, 2000), files=files)
            new = New(f"visit/W1/note/{batch}/{i}", note, visit="W1")
            news.append(signed(new, desk, Meaning.DID, f"Note {batch}", Role.BUILDER))
        desk.record(*news)
        tell(batch)


def broken_promises(shop: Shop, told: set[str]) -> list[str]:
    """What was acknowledged and is not there, what is there by half, what `verify` finds."""
    found: Counter[str] = Counter()
    sizes: dict[str, int] = {}
    for entry in shop.records.current(NoteTaken, visit="W1"):
        batch, size, *_ = entry.body.text.split(" ")
        found[batch] += 1
        sizes[batch] = int(size)
    lost = [f"lost: {batch}" for batch in sorted(told - found.keys())]
    half = [f"half: {batch}" for batch, size in sizes.items() if found[batch] != size]
    return [*lost, *half, *(str(f) for f in shop.verify().faults)]


@dataclass
class Killed:
    """What the killing showed."""

    kills: int = 0
    processes: int = 0
    told: int = 0
    recorded: int = 0
    broken: list[str] = field(default_factory=list)


def kill_at_random(
    url: str | None, folder: Path, kills: int, seed: int, progress: Callable[[int], None] = lambda _: None
) -> Killed:
    """Let eight writers write; at random moments kill some of them with SIGKILL and begin others."""
    begin(url, folder)
    draw, found, told = random.Random(seed), Killed(kills), set[str]()
    running: dict[int, int] = {}  # process to the pipe on which it tells
    born = 0
    for kill in range(kills + 1):
        while len(running) < WRITERS:
            born += 1
            process, pipe = _fork(url, folder, f"{seed}-{born}", born)
            running[process] = pipe
        time.sleep(draw.uniform(0.03, 0.3))
        # at the end all; else one, several or all, as it comes
        dying = draw.sample(sorted(running), WRITERS if kill == kills else draw.choice((1, 2, 3, 5, 8)))
        for process in dying:
            os.kill(process, signal.SIGKILL)
        for process in dying:
            _, status = os.waitpid(process, 0)
            if not os.WIFSIGNALED(status):
                found.broken.append(f"a writer ended by itself, status {status}")
            told |= _told(running.pop(process))
            found.processes += 1
        progress(kill)
    shop = open_shop(url, folder)
    found.told, found.recorded = len(told), len(shop.records.current(NoteTaken, visit="W1"))
    found.broken += broken_promises(shop, told)
    shop.close()
    return found


def _fork(url: str | None, folder: Path, name: str, seed: int) -> tuple[int, int]:
    """A writer as a process of its own, and the end of the pipe on which it tells."""
    reading, writing = os.pipe()
    process = os.fork()
    if process:
        os.close(writing)
        return process, reading
    try:
        os.close(reading)
        shop = open_shop(url, folder)

        def tell(batch: str) -> None:
            os.write(writing, f"{batch}\n".encode())

        write_batches(shop, name, random.Random(seed), tell, 1_000_000)
    finally:
        os._exit(3)  # only an error leads here; the pipe's lines say how far it came


def _told(pipe: int) -> set[str]:
    with os.fdopen(pipe) as file:
        return set(file.read().split())
