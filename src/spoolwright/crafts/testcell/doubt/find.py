"""Doubt first: what a recording tells against itself, before anything is computed from it.

Nothing is repaired here. A finding that bars use makes every point that rests on its channel *cannot tell*
until a person signs a correction on the run sheet; then both values stay, and the finding names the signer.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from spoolwright.core.cycle.engine import EngineData
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.measurement.recording import Recording
from spoolwright.core.reduction.doubt.signs import Sign
from spoolwright.crafts.testcell.doubt.channels import Look
from spoolwright.crafts.testcell.doubt.draft import PHYSICS, Draft
from spoolwright.crafts.testcell.doubt.oil import oil_drafts
from spoolwright.crafts.testcell.doubt.physics import physics_of
from spoolwright.crafts.testcell.doubt.rows import (
    clock_drafts,
    missing_drafts,
    note_drafts,
    scanned,
    sign_draft,
    span,
)
from spoolwright.crafts.testcell.doubt.words import physics_drafts, unit_drafts
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.run.signed import apply_corrections
from spoolwright.crafts.testcell.run_sheet import RunSheet, SignedCorrection
from spoolwright.crafts.testcell.wording import joined
from spoolwright.crafts.typefile.engine import engine_of
from spoolwright.crafts.typefile.model import TypeFile

_LOST = ("stuck", "constant", "saturated", "clipped", "gap")
"""Signs whose rows are kept from the physics: what they read is known to be nothing."""


def find(
    recording: Recording, sheet: RunSheet, type_file: TypeFile, model: EngineModel | None = None
) -> tuple[Finding, ...]:
    """Doubts about the data of one run as recorded; signed corrections are tried, none is made here.

    Parameters
    ----------
    recording : the run as recorded
    sheet : its run sheet, with any signed corrections
    type_file : the type
    model : engine model of the type, made ready once; made from the type file when left out

    Raises
    ------
    InputError
        A signed correction names a channel or a unit that is not there.
    """
    model = model or _model_of(engine_of(type_file).data)
    drafts = _drafts(Look(recording, sheet, type_file), model)
    if sheet.correction:
        corrected = apply_corrections(recording, sheet.correction, type_file)
        drafts = _signed(drafts, _drafts(Look(corrected, sheet, type_file), model), sheet.correction)
    return tuple(draft.numbered(sheet.run, k + 1) for k, draft in enumerate(drafts))


@lru_cache(maxsize=4)
def _model_of(data: EngineData) -> EngineModel:
    return EngineModel(data)


def _drafts(look: Look, model: EngineModel) -> list[Draft]:
    """Findings in the order in which a person should read them: clock, channels, physics, notes."""
    signs = scanned(look)
    barred: dict[str, list[tuple[float, float]]] = {}
    for s in signs:
        if s.kind in _LOST:
            barred.setdefault(s.channel, []).append(span(look, s))
    physics = physics_of(look, model, barred)
    contradictions = physics_drafts(look, physics)
    oil = oil_drafts(look)
    named = {c: d for d in (*contradictions, *oil) for c in d.channels}
    rows = [d for s in signs if not _told(s, named, look) and (d := sign_draft(look, s)) is not None]
    notes = note_drafts(look.recording.notes, look.recording.time)
    noted = {c for d in notes if d.kind == "unread_cells" for c in d.channels}
    rows = [d for d in rows if not (d.kind == "unread_cells" and set(d.channels) & noted)]
    return [
        *clock_drafts(look),
        *missing_drafts(look),
        *contradictions,
        *oil,
        *rows,
        *unit_drafts(look, physics, named),
        *notes,
    ]


def _told(sign: Sign, named: dict[str, Draft], look: Look) -> bool:
    """An implausible value that a contradiction already explains is not told twice."""
    return sign.kind == "implausible" and sign.channel in named and named[sign.channel].kind != "disagreement"


def _signed(
    before: Sequence[Draft], after: Sequence[Draft], corrections: Sequence[SignedCorrection]
) -> list[Draft]:
    """Findings as recorded, those that a correction removed marked; what a correction itself contradicts."""
    signers: dict[str, list[str]] = {}
    left_out: set[str] = set()
    for c in corrections:
        for channel in (c.channel, *([c.other] if c.kind == "swap_with" and c.other else [])):
            signers.setdefault(channel, []).append(c.signed_by)
            if c.kind == "leave_out":
                left_out.add(channel)
    after = [
        d for d in after if not (d.kind in ("gap", "missing", "unread_cells") and set(d.channels) & left_out)
    ]
    out = [_marked(d, after, signers) for d in before]
    return out + [_contradicting(d, signers) for d in after if not _matches(d, before)]


def _marked(draft: Draft, after: Sequence[Draft], signers: dict[str, list[str]]) -> Draft:
    touched = [c for c in draft.channels if c in signers]
    if not touched or _matches(draft, after):
        return draft
    names = dict.fromkeys(name for c in touched for name in signers[c])
    return draft.signed_by(joined(list(names)))


def _matches(draft: Draft, others: Sequence[Draft]) -> bool:
    """Whether one of the others says that the same channel is wrong in a like way."""
    return any(_alike(draft, o) for o in others)


def _alike(a: Draft, b: Draft) -> bool:
    if not a.channels or not b.channels:
        return (
            a.kind == b.kind
            and (a.from_s, a.to_s) == (b.from_s, b.to_s)
            and not a.channels
            and not b.channels
        )
    shared = bool(set(a.channels) & set(b.channels))
    return shared and (a.kind == b.kind or (a.kind in PHYSICS and b.kind in PHYSICS))


def _contradicting(draft: Draft, signers: dict[str, list[str]]) -> Draft:
    """A finding that only the corrected data give."""
    names = dict.fromkeys(name for c in draft.channels for name in signers.get(c, ()))
    if not names or draft.kind not in PHYSICS:
        return draft
    who = joined(list(names))
    text = f"With the correction signed by {who} the readings contradict each other: {draft.text}"
    mend = f"Look at the correction again: is it of the right channel, unit and sign? {draft.mend}"
    return Draft(draft.kind, draft.channels, text, mend, True, draft.from_s, draft.to_s, draft.probability)
