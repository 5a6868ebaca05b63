"""Points of simulated runs at the hold times that the rig tells, with the type file's uncertainty budget."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from spoolwright.core.measurement.averaging import hold_mean
from spoolwright.core.measurement.budget import SystematicBudget, systematic_budget
from spoolwright.core.measurement.channel import SystematicPart
from spoolwright.core.reduction.point import ChannelMean, PointData, Systematic
from spoolwright.crafts.testcell.performance.basis import REDUCTION_ROLES
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.rig.result import HoldTruth, RigRun
from spoolwright.units import unit_of


class HoldReader:
    """Reads the holds of runs of one type as performance points; idle holds are left out."""

    def __init__(self, known: TypeFile, roles: Sequence[str] = REDUCTION_ROLES) -> None:
        self.known = known
        self.channels = [c.id for c in known.channel if c.role in roles]
        self.budget: SystematicBudget = systematic_budget(_parts(known), self.channels)
        self.holds = {s.id for s in known.schedule if s.kind == "hold"}

    def points(self, run: RigRun) -> list[PointData]:
        """One point a hold: the last averaging window of it."""
        return [self._point(run, h) for h in run.truth.holds if h.item in self.holds]

    def _point(self, run: RigRun, hold: HoldTruth) -> PointData:
        assert self.known.steady is not None
        time = run.recording.time
        rows = (time >= hold.to_s - self.known.steady.window_s) & (time <= hold.to_s)
        values = np.column_stack([run.recording[c][rows] for c in self.channels])
        means = hold_mean(values, float(time[1] - time[0]))
        systematic = self.budget.components(means.mean)
        found = {}
        for j, name in enumerate(self.channels):
            found[name] = ChannelMean(
                channel=name,
                mean=float(means.mean[j]),
                random=float(means.standard_uncertainty[j]),
                effective_samples=float(means.effective_samples[j]),
                random_degrees_of_freedom=float(means.degrees_of_freedom[j]),
                systematic=tuple(
                    Systematic(s.name, float(u), s.degrees_of_freedom, s.distribution)
                    for s, u in zip(self.budget.sources, systematic[j], strict=True)
                    if u != 0.0
                ),
            )
        return PointData(
            f"{run.sheet.run}.{hold.item}",
            run.sheet.run,
            hold.from_s,
            hold.to_s,
            0,
            found,
            hold.item,
            hold.rating,
        )


def _parts(known: TypeFile) -> list[SystematicPart]:
    parts = []
    for c in known.channel:
        factor = unit_of(c.unit, c.dimension).factor
        for p in c.uncertainty:
            nu = math.inf if p.degrees_of_freedom is None else p.degrees_of_freedom
            parts.append(
                SystematicPart(c.id, p.source, "shared", p.absolute * factor, p.relative, p.distribution, nu)
            )
    return parts
