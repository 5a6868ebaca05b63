"""Long work beside the pages: one worker process, how far it is, and what is done with its result.

The server's own process computes nothing that lasts, so its pages stay quick. Work that a stop of the server
cuts off leaves no trace but the attachments: what is not done is still open, and a person begins it again.
"""

from __future__ import annotations

import multiprocessing
import tempfile
import threading
import time
import uuid
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from spoolwright.bootstrap.progress import Tell
from spoolwright.errors import sentence_of

Work = Callable[[dict[str, Any], Tell], dict[str, Any]]
"""What a worker runs: from a task of plain values, telling how far it is, to a result of plain values."""
_KEPT = 60
_FAULT = "fault"
MOST_WAITING = 8
"""Work that may wait; more is refused, so that a slip of the finger fills no queue."""


@dataclass
class Job:
    """A piece of work and where it stands."""

    id: str
    visit: str
    what: str
    by: str
    begun: float
    place: Path
    state: str = "waiting"
    link: str = ""
    error: str = ""
    ended: float = 0.0

    @property
    def over(self) -> bool:
        return self.state in ("done", "failed")

    @property
    def progress(self) -> tuple[str, float]:
        """What is being done, and the share that is done."""
        with suppress(OSError, ValueError):
            share, _, text = self.place.read_text(encoding="utf-8").partition(" ")
            return text, min(max(float(share), 0.0), 1.0)
        return ("waiting for the worker", 0.0)

    @property
    def seconds(self) -> float:
        """How long it has lasted [s]."""
        return (self.ended or time.monotonic()) - self.begun

    @property
    def left(self) -> float | None:
        """An estimate of how long it still lasts [s]; None while too little is done to tell."""
        share = self.progress[1]
        return self.seconds * (1.0 - share) / share if share > 0.08 and not self.over else None


class Jobs:
    """The worker and its jobs; threads may share it."""

    def __init__(self, executor: Executor | None = None) -> None:
        self._executor = executor
        self._lock = threading.Lock()
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._folder = tempfile.TemporaryDirectory(prefix="spoolwright-jobs-")

    def begin(
        self, visit: str, what: str, by: str, work: Work, task: dict[str, Any],
        keep: Callable[[dict[str, Any]], str],
    ) -> Job:  # fmt: skip
        """Begin work; `keep` stores its result and gives the link to it. The same work waits only once."""
        with self._lock:
            for job in self._jobs.values():
                if not job.over and (job.visit, job.what) == (visit, what):
                    return job
            if sum(not j.over for j in self._jobs.values()) >= MOST_WAITING:
                from spoolwright.errors import InputError

                raise InputError(
                    f"{MOST_WAITING} calculations are waiting already.", mend="Try again in a minute."
                )
            number = uuid.uuid4().hex[:16]
            job = Job(number, visit, what, by, time.monotonic(), Path(self._folder.name) / number)
            self._jobs[number] = job
            while len(self._jobs) > _KEPT:
                self._jobs.popitem(last=False)
            future = self._pool().submit(_run, work, task, str(job.place))
        job.state = "running"
        future.add_done_callback(lambda f: _finish(job, f, keep))
        return job

    def find(self, number: str) -> Job | None:
        """A job by its number."""
        with self._lock:
            return self._jobs.get(number)

    def of_visit(self, visit: str) -> list[Job]:
        """The jobs of a visit that run, or failed last; newest first."""
        with self._lock:
            own = [j for j in self._jobs.values() if j.visit == visit]
        running = [j for j in own if not j.over]
        failed = [j for j in own if j.state == "failed" and not _repeated(j, own)]
        return [*reversed(running), *reversed(failed)]

    def close(self) -> None:
        """End the worker."""
        if self._executor is not None:
            self._executor.shutdown(wait=False, cancel_futures=True)
        self._folder.cleanup()

    def _pool(self) -> Executor:
        """The worker process, begun when it is first needed."""
        if self._executor is None or getattr(self._executor, "_broken", False):
            context = multiprocessing.get_context("spawn")
            self._executor = ProcessPoolExecutor(max_workers=1, mp_context=context)
        return self._executor


def _repeated(job: Job, jobs: list[Job]) -> bool:
    return any(j.what == job.what and j.begun > job.begun for j in jobs)


def _run(work: Work, task: dict[str, Any], place: str) -> dict[str, Any]:
    """In the worker."""

    def tell(text: str, share: float) -> None:
        with suppress(OSError):
            Path(place).write_text(f"{share:.4f} {text}", encoding="utf-8")

    tell("beginning", 0.0)
    try:
        return work(task, tell)
    except Exception as error:  # an error with parts of its own does not survive the way between processes
        return {_FAULT: sentence_of(error)}


def _finish(job: Job, future: Future[dict[str, Any]], keep: Callable[[dict[str, Any]], str]) -> None:
    """Back in the server: store the result, or say why there is none."""
    try:
        result = future.result()
        if _FAULT in result:
            job.error, job.state = result[_FAULT], "failed"
        else:
            job.link = keep(result)
            job.state = "done"
    except BaseException as error:
        job.error, job.state = sentence_of(error), "failed"
    job.ended = time.monotonic()
