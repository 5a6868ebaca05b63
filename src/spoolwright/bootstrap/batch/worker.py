"""The worker's side of a batch: the type made ready once, then recordings diagnosed one at a time."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Sequence
from typing import TYPE_CHECKING

from spoolwright.errors import SpoolwrightError, sentence_of

if TYPE_CHECKING:
    from spoolwright.bootstrap.batch.material import Material
    from spoolwright.bootstrap.batch.ready import Ready
    from spoolwright.reports.batch_rows import Hashes, Row
    from spoolwright.sources.places import Placed

_ready: dict[str, Ready] = {}
"""The type this process has made ready, by the hashes it rests on: the last one only."""
_one_at_a_time = threading.Lock()
_own: list[Material] = []
"""Material of a process that works for one batch."""


def begin(material: Material) -> None:
    """Start of a worker process: keep the material; leave Ctrl-C to the parent, and end when it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    _own.append(material)


def _end_with_parent() -> None:
    from multiprocessing import parent_process
    from multiprocessing.connection import wait

    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)  # a killed parent cannot tell its workers to stop


def work_here(placed: Sequence[Placed]) -> list[Row]:
    """Rows of some recordings, in a process that `begin` has started."""
    return work(_own[-1], placed)


def work(material: Material, placed: Sequence[Placed]) -> list[Row]:
    """Rows of some recordings; whatever is wrong with one stands in its row."""
    with _one_at_a_time:
        ready = _made_ready(material)
        return [_row(ready, material, one) for one in placed]


def _made_ready(material: Material) -> Ready:
    from spoolwright.bootstrap.batch.ready import ready_for

    key = " ".join(material.rests_on.values())
    if key not in _ready:
        _ready.clear()
        _ready[key] = ready_for(material)
    return _ready[key]


def _row(ready: Ready, material: Material, one: Placed) -> Row:
    from spoolwright.reports.batch_rows import failed_row
    from spoolwright.sources.places import fetched, hashes_at

    hashes = hashes_of(material, ("", ""))
    try:
        with fetched(one.place) as (path, _):
            hashes = hashes_of(material, hashes_at(str(path)))
            return ready.row(one, path, hashes)
    except Exception as error:
        return failed_row(one.name, hashes, sentence_of(error), again=not isinstance(error, SpoolwrightError))


def hashes_of(material: Material, found: tuple[str, str]) -> Hashes:
    """What a row rests on, from the hashes of its recording and run sheet."""
    from spoolwright.reports.batch_rows import Hashes

    return Hashes(*found, material.rests_on)
