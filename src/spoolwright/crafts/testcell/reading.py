"""A reading as it passes from the finding of events and holds to the judging of limits. Frozen records."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from spoolwright.core.reduction.point import PointData
from spoolwright.crafts.testcell.model import Event, Input, Segment
from spoolwright.crafts.typefile.model import Regime


@dataclass(frozen=True)
class Share:
    """One part of a reading's standard uncertainty, by cause (a calibration source, 'scatter', ...)."""

    cause: str
    uncertainty: float


@dataclass(frozen=True)
class Excursion:
    """Time spent beyond a level within the regime: for limits that allow a time above (or below) a value.

    `above` is the level in the inner unit; `total_s` the time beyond it in the regime, `uncertainty_s` its
    standard uncertainty (sampling interval, noise at the crossing).
    """

    above: float
    total_s: float
    uncertainty_s: float


@dataclass(frozen=True)
class ScalarReading:
    """One number a limit can be judged against, with where it was read and how it came to be.

    `quantity` is a channel id or one of DERIVED_QUANTITIES; `value` and `uncertainty` are in the inner unit
    `unit`. `conditions` holds the values of the other channels at that reading, for limits that depend on
    them or count only within a window. `findings` are ids of doubts about the data that bar the reading from
    being judged. `limit` names the limit that this is the worst reading against; None fits every limit on the
    quantity in the regime. `excused_s` tells how long the conditions of a limit's exception had held already
    with the engine turning, for exceptions with a time. A reading that could not be made has value NaN, says
    why in `why_not` and, where one step is known to mend it, which in `mend`. `thin` says why the data cannot
    show that a limit is met, though they can show that it is not. `runs` names every run that a
    reading rests on, where there are several.
    """

    quantity: str
    regime: Regime
    value: float
    uncertainty: float
    unit: str
    run: str
    block: int
    from_s: float
    to_s: float
    title: str
    calculation: str
    formula: str
    reference: str
    inputs: tuple[Input, ...] = ()
    at_s: float | None = None
    point: str | None = None
    rating: str | None = None
    schedule_item: str | None = None
    degrees_of_freedom: float = math.inf
    shares: tuple[Share, ...] = ()
    conditions: dict[str, float] = field(default_factory=dict)
    excused_s: float = 0.0
    excursions: tuple[Excursion, ...] = ()
    findings: tuple[str, ...] = ()
    limit: str | None = None
    why_not: str = ""
    thin: str = ""
    mend: str = ""
    runs: tuple[str, ...] = ()


@dataclass(frozen=True)
class ShownItem:
    """An item of the test schedule that a run has shown: once for every time it was shown in full."""

    item: str
    run: str
    block: int
    from_s: float
    to_s: float


@dataclass(frozen=True)
class RunContents:
    """All that was found in one run.

    `points` are the holds taken as performance points; `readings` everything else a limit can be judged
    against (start, transients, governing, coast-down, vibration, oil, torquemeter and trim checks). Channel
    means of the points need no reading of their own. `last_block` is the block in force at the end of the
    run: an adjustment raises it, the next run goes on from it.
    """

    run: str
    segments: tuple[Segment, ...] = ()
    events: tuple[Event, ...] = ()
    points: tuple[PointData, ...] = ()
    readings: tuple[ScalarReading, ...] = ()
    shown: tuple[ShownItem, ...] = ()
    last_block: int = 0
