"""The blend plan of a stage in a visit: what it rests on, signed by a person, stored to be run again."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, ClassVar

from pydantic import Field

from spoolwright.crafts.inspection.blend_plan import StageBlends, plan_blends
from spoolwright.crafts.inspection.blend_words import plan_sentence
from spoolwright.crafts.inspection.calc import blend_read, blend_said
from spoolwright.crafts.inspection.model import FindingRecorded
from spoolwright.crafts.inspection.service import INSPECTING
from spoolwright.crafts.inspection.stage import Earlier, Stage
from spoolwright.crafts.inspection.standing import StageState
from spoolwright.crafts.typefile.base import Identifier, Record
from spoolwright.crafts.typefile.shop.inspection import DamageLimit, InspectedPart
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Body, Calculation, Entry, Meaning, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.people import Role
from spoolwright.errors import InputError, RangeError

BLEND_PLAN = ("inspection.blend_plan", "1")
CHOOSING = (Role.LEAD, *INSPECTING)
_LEFT_OUT = {"photographs", "remark", "gauge", "method"}


class BladeOf(Record):
    """A blade of the plan and why it is there."""

    blade: int
    why: str = ""


class BlendPlanAccepted(Body):
    """The blends of a stage as they are to be made, signed. Subject of the stage + `/blend_plan`."""

    kind: ClassVar[str] = "blend_plan"

    part: Identifier
    serial: str = ""
    blend: tuple[int, ...]
    replace: tuple[BladeOf, ...]
    waits: tuple[BladeOf, ...] = Field(default=(), description="on which nothing can be planned yet")
    chosen: tuple[int, ...] = Field(default=(), description="blades that the person wanted replaced anyway")
    unbalance_g_mm: float
    heavy_spot_deg: float = Field(description="from blade 1 in the sense of numbering")
    sentence: str
    calculation: Calculation


def planned(state: StageState, chosen: Sequence[int] = ()) -> StageBlends | None:
    """The plan of a stage as it stands in a visit.

    Blends of this visit use the allowance; those of earlier visits were balanced then. What engineering lets
    stay is left. Blades that a person wants replaced whatever else are given.
    """
    return plan_blends(state.stage, done=done_in(state), stays=_stays(state), also=chosen)


def done_in(state: StageState) -> tuple[Earlier, ...]:
    """Blends that were made in this visit."""
    new = {f.body.blade: f.replaced.seq for f in state.findings if f.replaced is not None}
    blended = [(f.body.blade, f.blend.seq) for f in state.findings if f.blend is not None]
    count = sum(seq >= new.get(blade, 0) for blade, seq in blended)
    return state.stage.blends[len(state.stage.blends) - count :] if count else ()


def _stays(state: StageState) -> tuple[int, ...]:
    """Places of the findings that were decided to stay as they are."""
    serviceable = [f.body for f in state.standing if f.decided == "serviceable"]
    return tuple(i for i, f in enumerate(state.stage.findings) if any(f is s for s in serviceable))


def chosen_from(text: str, state: StageState) -> tuple[int, ...]:
    """Blades that a person wants replaced, from `5, 7`.

    Raises
    ------
    InputError
        A number is none, or no such blade was found damaged.
    """
    damaged = {f.blade for f in state.stage.findings}
    out = []
    for word in filter(None, (w.strip() for w in text.replace(";", ",").split(","))):
        if not (word.isascii() and word.isdigit() and len(word) < 5 and int(word) in damaged):
            noun = state.part.numbered
            what = f"'{word[:20]}' is no damaged {noun}."
            raise InputError(what, where="also", mend=f"Numbers of {noun}s with findings: 5, 7.")
        out.append(int(word))
    return tuple(sorted(set(out)))


def body_of(state: StageState, found: StageBlends, chosen: Sequence[int]) -> BlendPlanAccepted:
    """What is recorded of a plan."""
    inputs = _inputs(state, chosen)
    return BlendPlanAccepted(
        part=state.part.id,
        serial=state.serial,
        blend=found.plan.blend,
        replace=tuple(BladeOf(blade=n, why=w) for n, w in found.replaced_for),
        waits=tuple(BladeOf(blade=n, why=w) for n, w in found.waits),
        chosen=tuple(chosen),
        unbalance_g_mm=1e6 * found.plan.unbalance,
        heavy_spot_deg=math.degrees(found.plan.heavy_spot),
        sentence=plan_sentence(found, state.part),
        calculation=Calculation(
            name=BLEND_PLAN[0], version=BLEND_PLAN[1], inputs=inputs, result=_result(found)
        ),
    )


def plan_shown(state: StageState, found: StageBlends) -> str:
    """What is signed."""
    serial = f", serial {state.serial}" if state.serial else ""
    why = [f"{state.part.numbered.capitalize()} {n}: {w}" for n, w in (*found.replaced_for, *found.waits)]
    return "\n".join(
        [f"Visit {state.visit}. {state.part.name}{serial}. {plan_sentence(found, state.part)}", *why]
    )


def plan_of(folder: Folder, state: StageState) -> Entry[BlendPlanAccepted] | None:
    """The signed plan of a stage."""
    subject = f"{state.prefix}/blend_plan"
    return next((e for e in folder.of(BlendPlanAccepted) if e.subject == subject), None)


def still_holds(entry: Entry[BlendPlanAccepted], state: StageState) -> bool:
    """Whether the same plan would be proposed now."""
    chosen = tuple(n for n in entry.body.chosen if n in {f.blade for f in state.stage.findings})
    try:
        found = planned(state, chosen)
    except RangeError:
        return False
    if found is None:
        return False
    left = {f.blade for f in state.stage.findings}
    before = (
        {n for n in entry.body.blend if n in left},
        {x.blade for x in entry.body.replace if x.blade in left},
    )
    return before == (set(found.plan.blend), set(found.plan.replace))


def accept_plan(
    desk: Desk, state: StageState, found: StageBlends, chosen: Sequence[int], shown: str, *, after: int
) -> Entry[Body]:
    """Sign the plan of a stage.

    Raises
    ------
    InputError
        There is nothing to plan.
    """
    desk.entitled(*CHOOSING)
    if not (found.plan.blend or found.plan.replace):
        raise InputError("nothing is to blend or to replace.", mend="Record and judge findings first.")
    reason = "planned again" if after else ""
    new = New(
        f"{state.prefix}/blend_plan",
        body_of(state, found, chosen),
        visit=state.visit,
        after=after,
        reason=reason,
    )
    return desk.record(signed(new, desk, Meaning.ACCEPTED, shown, *CHOOSING))[0]


def _inputs(state: StageState, chosen: Sequence[int]) -> dict[str, Any]:
    stage = state.stage
    return {
        "part": stage.part.model_dump(mode="json", exclude_defaults=True),
        "limits": [x.model_dump(mode="json", exclude_defaults=True) for x in stage.limits],
        "findings": [
            f.model_dump(mode="json", exclude_defaults=True, exclude=_LEFT_OUT) for f in stage.findings
        ],
        "blends": [blend_said(b) for b in stage.blends],
        "done": len(done_in(state)),
        "stays": list(_stays(state)),
        "also": list(chosen),
    }


def _result(found: StageBlends) -> dict[str, Any]:
    return {
        "blend": list(found.plan.blend),
        "replace": list(found.plan.replace),
        "waits": [n for n, _ in found.waits],
        "unbalance_g_mm": 1e6 * found.plan.unbalance,
        "taken_g_mm": [b.taken.unbalance_g_mm for b in found.blended],
    }


def recompute_blend_plan(inputs: dict[str, Any], _read: Callable[[str], bytes]) -> dict[str, Any]:
    """The plan again, from stored inputs, for `verify`."""
    blends = tuple(blend_read(b) for b in inputs["blends"])
    stage = Stage(
        InspectedPart.model_validate(inputs["part"], strict=False),
        tuple(DamageLimit.model_validate(x) for x in inputs["limits"]),
        tuple(FindingRecorded.model_validate(x) for x in inputs["findings"]),
        blends,
    )
    done = blends[len(blends) - inputs["done"] :]
    found = plan_blends(stage, done=done, stays=inputs["stays"], also=inputs["also"])
    return _result(found) if found else {}
