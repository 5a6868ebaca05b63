"""Calculations that are stored with a record and run again by `verify`."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from spoolwright.crafts.inspection.model import FindingRecorded
from spoolwright.crafts.inspection.rules import judge_stage
from spoolwright.crafts.inspection.stage import Earlier, Stage
from spoolwright.crafts.typefile.shop.inspection import DamageLimit, InspectedPart
from spoolwright.crafts.visit.entry import Calculation

DISPOSITION = ("inspection.disposition", "1")
_LEFT_OUT = {"photographs", "remark", "gauge", "method"}


def disposition_calculation(stage: Stage, at: int, result: dict[str, Any]) -> Calculation:
    """The judgement of the finding at a place of a stage, with everything it was computed from.

    Parameters
    ----------
    stage : Stage
        The stage with its limits, findings and earlier blends [mm].
    at : int
        Place of the finding among the stage's findings [-].
    result : dict
        The judgement as JSON values [-].

    Returns
    -------
    Calculation
        Name, version, inputs and result [-].
    """
    part = stage.part.model_dump(
        mode="json", exclude_defaults=True, exclude={"airfoil": {"mode", "engine_order"}}
    )
    inputs = {
        "at": at,
        "part": part,
        "limits": [x.model_dump(mode="json", exclude_defaults=True) for x in stage.limits],
        "findings": [
            f.model_dump(mode="json", exclude_defaults=True, exclude=_LEFT_OUT) for f in stage.findings
        ],
        "blends": [blend_said(b) for b in stage.blends],
    }
    return Calculation(name=DISPOSITION[0], version=DISPOSITION[1], inputs=inputs, result=result)


def recompute_disposition(inputs: dict[str, Any], _read: Callable[[str], bytes]) -> dict[str, Any]:
    """The judgement again, from stored inputs.

    Parameters
    ----------
    inputs : dict
        As `disposition_calculation` stored them [-].
    _read : callable
        Reader of attachments, not needed [-].

    Returns
    -------
    dict
        The judgement as JSON values [-].
    """
    stage = Stage(
        InspectedPart.model_validate(inputs["part"], strict=False),
        tuple(DamageLimit.model_validate(x) for x in inputs["limits"]),
        tuple(FindingRecorded.model_validate(x) for x in inputs["findings"]),
        tuple(blend_read(b) for b in inputs["blends"]),
    )
    judged = judge_stage(stage)[inputs["at"]]
    return judged.model_dump(mode="json") if judged else {}


def blend_said(b: Earlier) -> dict[str, Any]:
    """A blend as plain JSON values, lengths exact.

    Parameters
    ----------
    b : Earlier
        The blend [mm].

    Returns
    -------
    dict
        Its values [-].
    """
    position = None if b.position is None else str(b.position)
    return {
        "blade": b.blade, "zone": b.zone, "depth": str(b.depth), "position": position,
        "length": str(b.length),
    }  # fmt: skip


def blend_read(said: dict[str, Any]) -> Earlier:
    """A blend as `blend_said` said it.

    Parameters
    ----------
    said : dict
        Its values [-].

    Returns
    -------
    Earlier
        The blend [mm].
    """
    position = None if said["position"] is None else Fraction(said["position"])
    return Earlier(said["blade"], said["zone"], Fraction(said["depth"]), position, Fraction(said["length"]))
