"""Stored calculations that `verify` can run again, by name and version.

A craft adds a line for each version it ever stored a result with. An old version stays here, callable, for as
long as records name it; where that is impossible `verify` says plainly that it cannot recompute it.
"""

from __future__ import annotations

from spoolwright.bootstrap import testing_calculations as testing
from spoolwright.crafts.cards.calc import recompute_reading
from spoolwright.crafts.inspection.blend_record import BLEND_PLAN, recompute_blend_plan
from spoolwright.crafts.inspection.calc import DISPOSITION, recompute_disposition
from spoolwright.crafts.inspection.dimensions import DIMENSION, judge_dimension
from spoolwright.crafts.inspection.photo import PHOTO, recompute_photo
from spoolwright.crafts.life.advice import recompute_advice
from spoolwright.crafts.life.stored import recompute_ledger
from spoolwright.crafts.scope import compare as scope
from spoolwright.crafts.supply.calc import kit_completeness
from spoolwright.crafts.visit.entry import Recompute

RECOMPUTE: dict[tuple[str, str], Recompute] = {
    ("card_reading", "1"): recompute_reading,
    ("life.ledger", "1"): recompute_ledger,
    ("life.advice", "1"): recompute_advice,
    ("kit_completeness", "1"): lambda inputs, _read: kit_completeness(inputs["needed"], inputs["kitted"]),
    DISPOSITION: recompute_disposition,
    BLEND_PLAN: recompute_blend_plan,
    DIMENSION: judge_dimension,
    PHOTO: recompute_photo,
    scope.NAME: scope.recompute,
    testing.ASSESS: testing.recompute_assessment,
    testing.DIAGNOSE: testing.recompute_diagnosis,
    testing.FORECAST: testing.recompute_forecast,
    testing.INSTALLED: testing.recompute_installation,
}
