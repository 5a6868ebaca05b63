"""A length measured in a photograph: what was marked, what it gives, and its way into a finding.

The scale is a rule (two marks, one length) or a flat target of known points, `20 x 10` for the corners of a
rectangle in order, or `0 0; 20 0; 20 10; 0 10; 10 5`. Marks are pixels from the picture's upper left corner.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, ClassVar, Literal

import numpy as np
from pydantic import Field

from spoolwright.core.photo.length import Scene, measured_length
from spoolwright.crafts.inspection.lengths import Size, in_mm
from spoolwright.crafts.typefile.base import Record
from spoolwright.crafts.typefile.shop.inspection import LengthUnit
from spoolwright.crafts.visit.desk import Desk
from spoolwright.crafts.visit.entry import Attachment, Body, Calculation, Entry, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.service import refuse_viewer
from spoolwright.errors import InputError, RangeError

PHOTO = ("inspection.photo", "1")
OFFSET_PERCENT = "10"
"""Borescope, measured by comparison: common practice, no source."""
TILT_DEG = "15"
"""Of a rule laid beside damage and photographed squarely by eye: common practice, no source."""
MARK_PX = "1"
"""How well a mark is placed under the magnified view: common practice, no source."""
DEPTH = (
    "Depth into a surface cannot be measured from one view. The depth of a nick in an edge can, with the "
    "scale in the plane of the airfoil."
)
LENS = "What a lens bends is not corrected: keep scale and damage close together, near the picture's middle."

Pixel = tuple[float, float]
_NUMBER = re.compile(r"[0-9]{1,6}(\.[0-9]{1,6})?")
_MOST_MARKS, _LARGEST_PX = 60, 100_000


class PhotoMeasured(Body):
    """A length measured in a photograph. Subject `visit/NUMBER/inspection/photo/SHA256/KEY`."""

    kind: ClassVar[str] = "photo_measured"

    photograph: Attachment
    path: Literal["straight", "curve"] = "straight"
    scale: Literal["rule", "target"]
    known: str = Field(description="length of the rule, or points of the target, as typed, in unit")
    known_uncertainty: str = Field(
        default="", description="standard, of the rule or of each coordinate, in unit"
    )
    unit: LengthUnit
    scale_marks: tuple[Pixel, ...]
    damage_marks: tuple[Pixel, ...]
    scale_mark_px: str
    damage_mark_px: str
    tilt_deg: str = Field(default="0", description="largest tilt, where the scale is a rule")
    distance: str = Field(
        default="", description="camera from the surface, in unit, where the scale is a rule"
    )
    offset_percent: str = Field(default="0", description="nearer or farther than the scale, at most")
    size: Size
    low: str
    high: str
    told: str
    remark: str = ""
    withdrawn: bool = False
    calculation: Calculation


class Typed(Record):
    """What was typed or marked, as words."""

    path: str = "straight"
    scale: str = "rule"
    known: str = ""
    known_uncertainty: str = ""
    unit: str = "mm"
    scale_marks: str = ""
    damage_marks: str = ""
    scale_mark_px: str = MARK_PX
    damage_mark_px: str = MARK_PX
    tilt_deg: str = TILT_DEG
    distance: str = ""
    offset_percent: str = OFFSET_PERCENT
    remark: str = ""


def photo_link(visit: str, sha256: str) -> str:
    """The page on which a photograph is measured."""
    return f"/visit/{visit}/inspection/photo/{sha256}"


def photographs(folder: Folder) -> dict[str, tuple[Attachment, list[Entry[Body]]]]:
    """Every picture of a visit by its hash, with the records that hold it."""
    out: dict[str, tuple[Attachment, list[Entry[Body]]]] = {}
    for entry in folder.entries:
        if not isinstance(entry.body, PhotoMeasured):
            for file in _files(entry.body):
                if file.media_type.startswith("image/"):
                    out.setdefault(file.sha256, (file, []))[1].append(entry)
    return out


def measurements(folder: Folder, sha256: str) -> list[Entry[PhotoMeasured]]:
    """What was measured in a photograph and holds, the newest first."""
    held = [e for e in folder.of(PhotoMeasured) if e.body.photograph.sha256 == sha256]
    return [e for e in reversed(held) if not e.body.withdrawn]


def size_from(measured: PhotoMeasured) -> Size:
    """The length as a finding holds it: value, unit, standard uncertainty."""
    return measured.size


def measured(photograph: Attachment, typed: Typed) -> PhotoMeasured:
    """The length that marks in a photograph give.

    Raises
    ------
    InputError
        A word cannot be read or the marks give no length; `where` names the field.
    """
    inputs = _inputs(typed)
    try:
        result = recompute_photo(inputs)
    except RangeError as error:
        where = {
            "target": "scale_marks",
            "path": "damage_marks",
            "path_u": "damage_mark_px",
            "tilt": "tilt_deg",
        }
        raise InputError(error.what, mend=error.mend, where=where.get(error.where, error.where)) from error
    unit: LengthUnit = "in" if typed.unit == "in" else "mm"
    factor = float(in_mm("1", unit))
    value, u, low, high = (result[name] / factor for name in ("length_mm", "u_mm", "low_mm", "high_mm"))
    if not 1e-4 < value < 1e5:
        what = f"a length of {value:.3g} {unit} is no damage."
        raise InputError(what, mend="Correct the scale or its unit.", where="known")
    places = places_of(u)
    size = Size(value=f"{value:.{places}f}", unit=unit, uncertainty=f"{u:.{places}f}")
    return PhotoMeasured.model_validate(
        typed.model_dump(include=_AS_TYPED)
        | {
            "photograph": photograph,
            "unit": unit,
            "scale_marks": tuple(map(tuple, inputs["scale_marks_px"])),
            "damage_marks": tuple(map(tuple, inputs["damage_marks_px"])),
            "tilt_deg": typed.tilt_deg if typed.scale == "rule" else "0",
            "distance": typed.distance if typed.scale == "rule" else "",
            "size": size,
            "low": f"{max(low, 0.0):.{places}f}",
            "high": f"{high:.{places}f}",
            "told": _told(result, factor, unit, typed),
            "calculation": Calculation(name=PHOTO[0], version=PHOTO[1], inputs=inputs, result=result),
        }
    )


_AS_TYPED = {
    "path", "scale", "known", "known_uncertainty", "scale_mark_px", "damage_mark_px", "offset_percent",
    "remark",
}  # fmt: skip


def recompute_photo(inputs: dict[str, Any], _read: Callable[[str], bytes] | None = None) -> dict[str, Any]:
    """The length again, from stored inputs: millimetres, pixels, degrees, percent as their names say."""
    got = measured_length(
        Scene(
            plane=np.array(inputs["known_mm"]) * 1e-3,
            target=np.array(inputs["scale_marks_px"]),
            path=np.array(inputs["damage_marks_px"]),
            target_u=inputs["scale_mark_px"],
            path_u=inputs["damage_mark_px"],
            plane_u=inputs["known_u_mm"] * 1e-3,
            curved=inputs["curved"],
            tilt=math.radians(inputs["tilt_deg"]),
            distance=math.inf if inputs["distance_mm"] is None else inputs["distance_mm"] * 1e-3,
            offset=inputs["offset_percent"] / 100.0,
        )
    )
    return {
        "length_mm": got.length * 1e3,
        "u_mm": got.u * 1e3,
        "low_mm": got.low * 1e3,
        "high_mm": got.high * 1e3,
        "parts_mm": {name: u * 1e3 for name, u in got.parts.items()},
        "correction_mm": got.correction * 1e3,
        "misfit_px": got.misfit,
        "fits": got.fits,
    }


def places_of(u: float) -> int:
    """Decimals that show an uncertainty with two digits; at most the six that a size may have."""
    return min(6, max(0, 1 - math.floor(math.log10(u))))


def record_photo(desk: Desk, folder: Folder, body: PhotoMeasured, key: str) -> Entry[PhotoMeasured]:
    """Keep a measurement; `key` is the same when a form is sent twice."""
    refuse_viewer(desk)
    if body.calculation.result["fits"] is False:
        what = f"the marks miss the target's plane by {body.calculation.result['misfit_px']:.1f} pixels."
        mend = "A mark or a coordinate is wrong, the order differs, or the lens bends: correct it."
        raise InputError(what, mend=mend, where="scale_marks")
    subject = f"visit/{folder.visit}/inspection/photo/{body.photograph.sha256}/{key}"
    return desk.record(New(subject, body, visit=folder.visit))[0]  # type: ignore[return-value]


def withdraw_photo(
    desk: Desk, folder: Folder, entry: Entry[PhotoMeasured], *, after: int, reason: str
) -> Entry[PhotoMeasured]:
    """A measurement that does not hold; the record stays."""
    refuse_viewer(desk)
    if not reason.strip():
        raise InputError("withdrawing needs its reason.", mend="Say why.", where="reason")
    body = entry.body.model_copy(update={"withdrawn": True})
    new = New(entry.subject, body, visit=folder.visit, after=after, reason=reason)
    return desk.record(new)[0]  # type: ignore[return-value]


def marks_of(text: str, field: str, mend: str = "Write 812.5 390 on a line.") -> list[Pixel]:
    """Pixel pairs, one a line or between semicolons."""
    out: list[Pixel] = []
    for line in filter(None, (piece.strip() for piece in re.split(r"[;\n]", text))):
        words = re.split(r"[,\s]+", line)
        if len(words) != 2 or not all(_NUMBER.fullmatch(w) for w in words):
            raise InputError(f"'{line[:40]}' is no pair of numbers.", where=field, mend=mend)
        out.append((float(words[0]), float(words[1])))
    if len(out) > _MOST_MARKS or any(v > _LARGEST_PX for pair in out for v in pair):
        raise InputError("too many marks, or outside a picture.", where=field, mend=f"At most {_MOST_MARKS}.")
    return out


def known_points(scale: str, known: str, unit: str) -> list[Pixel]:
    """The known points of a scale in millimetres.

    Raises
    ------
    InputError
        The words give no rule and no target.
    """
    to_mm = float(in_mm("1", "in" if unit == "in" else "mm"))
    if scale == "rule":
        return [(0.0, 0.0), (_plain(known, "known", "the rule's length", above=0.0) * to_mm, 0.0)]
    sides = re.split(r"\s*[x×]\s*", known.strip())
    if len(sides) == 2:
        a, b = (_plain(s, "known", "a side of the target", above=0.0) * to_mm for s in sides)
        return [(0.0, 0.0), (a, 0.0), (a, b), (0.0, b)]
    mend = "Write 20 x 10, or each point: 0 0; 20 0; 20 10; 0 10."
    if len(known.replace("\n", ";").split(";")) < 4:
        raise InputError("a flat target needs four points or more.", where="known", mend=mend)
    points = marks_of(known, "known", mend)
    return [(x * to_mm, y * to_mm) for x, y in points]


def _inputs(typed: Typed) -> dict[str, Any]:
    if typed.path == "depth":
        raise InputError(
            "depth cannot be measured from one view.", where="path", mend="Use a gauge or a replica."
        )
    for name, allowed in (
        ("path", ("straight", "curve")),
        ("scale", ("rule", "target")),
        ("unit", ("mm", "in")),
    ):
        if getattr(typed, name) not in allowed:
            raise InputError(f"{name} '{getattr(typed, name)[:20]}'.", where=name, mend=" or ".join(allowed))
    rule = typed.scale == "rule"
    known_u = _plain(typed.known_uncertainty or "0", "known_uncertainty", "uncertainty of the scale")
    to_mm = float(in_mm("1", "in" if typed.unit == "in" else "mm"))
    far = (
        _plain(typed.distance, "distance", "distance", above=0.0) * to_mm if rule and typed.distance else None
    )
    return {
        "known_mm": [list(p) for p in known_points(typed.scale, typed.known, typed.unit)],
        "known_u_mm": known_u / math.sqrt(2.0)
        if rule
        else known_u,  # of a length: half its variance to each end
        "scale_marks_px": [list(p) for p in marks_of(typed.scale_marks, "scale_marks")],
        "damage_marks_px": [list(p) for p in marks_of(typed.damage_marks, "damage_marks")],
        "scale_mark_px": _plain(typed.scale_mark_px, "scale_mark_px", "uncertainty of a mark", above=0.0),
        "damage_mark_px": _plain(typed.damage_mark_px, "damage_mark_px", "uncertainty of a mark", above=0.0),
        "curved": typed.path == "curve",
        "tilt_deg": _plain(typed.tilt_deg, "tilt_deg", "tilt") if rule else 0.0,
        "distance_mm": far,
        "offset_percent": _plain(typed.offset_percent, "offset_percent", "out of plane"),
    }


def _plain(text: str, field: str, label: str, above: float | None = None) -> float:
    if not _NUMBER.fullmatch(text.strip()) or (above is not None and not float(text) > above):
        mend = "Digits and a point: 0.5." if above is None else "Above zero, digits and a point: 0.5."
        raise InputError(f"{label}: '{text[:30]}'.", where=field, mend=mend)
    return float(text)


def _told(result: Mapping[str, Any], factor: float, unit: str, typed: Typed) -> str:
    """What a person reads: interval, largest sources, what is left unchecked."""
    u = result["u_mm"] / factor
    places = places_of(u)
    low, high = (f"{max(result[n] / factor, 0.0):.{places}f}" for n in ("low_mm", "high_mm"))
    parts = sorted(result["parts_mm"].items(), key=lambda item: -item[1])
    named = ", ".join(f"{name} {v / factor:.{places}f}" for name, v in parts if v > 0.05 * result["u_mm"])
    miss = f"{result['misfit_px']:.1f} pixels."
    fits = {True: f"The target's marks fit within {miss}", False: f"The target's marks miss it by {miss}"}
    unchecked = "Four points leave nothing to check the target by." if typed.scale == "target" else ""
    seen = fits.get(result["fits"], unchecked)
    return (
        f"95 % between {low} and {high} {unit}. Standard uncertainty in {unit} from {named}. {seen}".strip()
    )


def _files(body: Body) -> Iterator[Attachment]:
    for value in body.__dict__.values():
        for item in value if isinstance(value, tuple) else (value,):
            if isinstance(item, Attachment):
                yield item
