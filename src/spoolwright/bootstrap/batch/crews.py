"""Who works on a batch: processes of this machine, or the workers of a dask scheduler."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future
from concurrent.futures.process import BrokenProcessPool, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from multiprocessing import get_context
from typing import TYPE_CHECKING, Any, Protocol

from spoolwright.bootstrap.batch.worker import begin, work, work_here
from spoolwright.errors import InputError, MissingExtra

if TYPE_CHECKING:
    from spoolwright.bootstrap.batch.material import Material
    from spoolwright.reports.batch_rows import Row
    from spoolwright.sources.places import Placed

_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
_ANSWER_S = 15
"""Seconds within which a scheduler and its first worker must answer."""


class Crew(Protocol):
    """Workers that take chunks of recordings."""

    width: int
    """Chunks that are worked on at once."""
    lost: tuple[type[BaseException], ...]
    """Errors that tell that a worker ended, rather than that its work failed."""

    def submit(self, placed: Sequence[Placed]) -> Future[list[Row]]:
        """Begin a chunk."""
        ...

    def renew(self) -> None:
        """Start again after a worker was lost."""
        ...


class Processes:
    """Processes of this machine, each with one thread of linear algebra."""

    lost: tuple[type[BaseException], ...] = (BrokenProcessPool,)

    def __init__(self, material: Material, count: int) -> None:
        for name in _ONE_THREAD:  # read by NumPy in the new processes
            os.environ.setdefault(name, "1")
        self.material, self.width = material, count
        self._pool = self._started()

    def _started(self) -> Executor:
        return ProcessPoolExecutor(
            self.width, mp_context=get_context("spawn"), initializer=begin, initargs=(self.material,)
        )

    def submit(self, placed: Sequence[Placed]) -> Future[list[Row]]:
        """Begin a chunk."""
        return self._pool.submit(work_here, placed)

    def renew(self) -> None:
        """Start again after a worker was lost."""
        self.close()
        self._pool = self._started()

    def close(self) -> None:
        """End: what has not begun is not begun."""
        self._pool.shutdown(wait=True, cancel_futures=True)


class Scheduled:
    """Workers of a dask scheduler; the scheduler itself replaces a worker that ended."""

    def __init__(self, material: Material, client: Any) -> None:
        from distributed.scheduler import KilledWorker

        self.lost: tuple[type[BaseException], ...] = (KilledWorker,)
        threads = [w["nthreads"] for w in client.scheduler_info(n_workers=-1)["workers"].values()]
        self.width = max(1, sum(threads))
        self._material = client.scatter(material, broadcast=True, hash=False)
        self._pool = client.get_executor(pure=False)

    def submit(self, placed: Sequence[Placed]) -> Future[list[Row]]:
        """Begin a chunk."""
        seen = [replace(p, place=_absolute(p.place)) for p in placed]  # a worker has another current folder
        future: Future[list[Row]] = self._pool.submit(work, self._material, seen)
        return future

    def renew(self) -> None:
        """The scheduler sees to it."""


def _absolute(place: str) -> str:
    from spoolwright.sources.places import is_address

    return place if is_address(place) else os.path.abspath(place)


def cores() -> int:
    """Processor cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0)) or 1
    return os.cpu_count() or 1


@contextmanager
def crew_for(material: Material, processes: int | None, scheduler: str) -> Iterator[Crew]:
    """The crew that was asked for: processes, one a core when no number is given, or a scheduler's workers.

    Raises
    ------
    MissingExtra
        A scheduler is asked for and the package that talks to it is not installed.
    InputError
        No scheduler answers at the address, or it has no worker.
    """
    if not scheduler:
        crew = Processes(material, processes or cores())
        try:
            yield crew
        finally:
            crew.close()
        return
    with _client(scheduler) as client:
        yield Scheduled(material, client)


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError as error:
        raise MissingExtra(
            "a scheduler can only be used with the package 'distributed', which is not installed.",
            mend="Install spoolwright[cluster], or leave --scheduler out: this machine then does the work.",
        ) from error
    try:
        client = Client(address, timeout=_ANSWER_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(
            "no scheduler answers there.", where=address, mend="Give its address, such as tcp://HOST:8786."
        ) from error
    try:
        client.wait_for_workers(1, timeout=_ANSWER_S)
    except TimeoutError as error:
        client.close()
        raise InputError("the scheduler has no worker.", where=address, mend="Start a worker.") from error
    return client
