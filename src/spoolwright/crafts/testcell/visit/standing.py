"""Where the test of an engine stands: what its folder's records add up to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from spoolwright.crafts.testcell.visit.model import (
    AdjustmentMade,
    ExceedanceAcknowledged,
    Exceeded,
    LookTaken,
    ModuleReopened,
    RunAttached,
    RunDisposed,
    RunsAssessed,
    RunsDiagnosed,
)
from spoolwright.crafts.visit.entry import Entry
from spoolwright.crafts.visit.folder import Folder


@dataclass(frozen=True)
class Standing:
    """The test cell's records of a visit, each kind in the order in which it was recorded."""

    runs: Sequence[Entry[RunAttached]]
    adjustments: Sequence[Entry[AdjustmentMade]]
    assessments: Sequence[Entry[RunsAssessed]]
    looks: Sequence[Entry[LookTaken]]
    dispositions: Sequence[Entry[RunDisposed]]
    acknowledged: Sequence[Entry[ExceedanceAcknowledged]]
    diagnoses: Sequence[Entry[RunsDiagnosed]]
    reopened: Sequence[Entry[ModuleReopened]]

    @property
    def newest(self) -> Entry[RunsAssessed] | None:
        """The newest assessment; it covers every run that was attached when it was made."""
        return max(self.assessments, key=lambda e: e.seq, default=None)

    @property
    def not_assessed(self) -> list[str]:
        """Runs attached, or corrected, since the newest assessment."""
        done = self.newest
        return [e.body.run for e in self.runs if done is None or e.seq > done.seq]

    @property
    def undecided(self) -> tuple[str, ...]:
        """Runs that the next decision is about: those since the last decision or reopening, else the last."""
        before = max((e.seq for e in (*self.dispositions, *self.reopened)), default=0)
        return tuple(e.body.run for e in self.runs if e.seq > before) or tuple(
            e.body.run for e in self.runs[-1:]
        )

    def disposition_of(self, assessment: str) -> Entry[RunDisposed] | None:
        """The newest decision on an assessment."""
        own = [e for e in self.dispositions if e.body.assessment == assessment]
        return max(own, key=lambda e: e.seq, default=None)

    @property
    def decided(self) -> Entry[RunDisposed] | None:
        """The decision in force on the newest assessment.

        Runs that are assessed again and come out as they did when they were decided need no new decision.
        """
        newest = self.newest
        if newest is None:
            return None
        own = self.disposition_of(newest.subject)
        last = max(self.dispositions, key=lambda e: e.seq, default=None)
        if own is not None or last is None:
            return own
        before = next((e for e in self.assessments if e.subject == last.body.assessment), None)
        since = any(e.seq > last.seq for e in (*self.runs, *self.reopened))
        same = before is not None and before.body.sentence == newest.body.sentence
        return last if same and not since else None

    def looks_at(self, assessment: str) -> list[Entry[LookTaken]]:
        """What people made of the runs of an assessment, first to last."""
        return [e for e in self.looks if e.body.assessment == assessment]

    @property
    def accepted(self) -> Entry[RunDisposed] | None:
        """The acceptance in force: the newest decision, if it accepts and nothing was reopened since."""
        last = max(self.dispositions, key=lambda e: e.seq, default=None)
        if last is None or last.body.decision != "accepted":
            return None
        return None if any(e.seq > last.seq for e in self.reopened) else last

    @property
    def not_acknowledged(self) -> list[tuple[Entry[RunsAssessed], Exceeded]]:
        """Limits exceeded in any run of the visit that nobody has acknowledged, first to last."""
        seen = {(e.body.exceeded.run, e.body.exceeded.limit) for e in self.acknowledged}
        out: dict[tuple[str, str], tuple[Entry[RunsAssessed], Exceeded]] = {}
        for entry in self.assessments:
            for x in entry.body.exceeded:
                if (x.run, x.limit) not in seen:
                    out.setdefault((x.run, x.limit), (entry, x))
        return list(out.values())


def standing(folder: Folder) -> Standing:
    """Where the test of a visit's engine stands."""
    return Standing(
        folder.of(RunAttached),
        folder.of(AdjustmentMade),
        folder.of(RunsAssessed),
        folder.of(LookTaken),
        folder.of(RunDisposed),
        folder.of(ExceedanceAcknowledged),
        folder.of(RunsDiagnosed),
        folder.of(ModuleReopened),
    )
