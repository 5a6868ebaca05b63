"""A route card on paper: A4, large fields, legible in black and white, with what is recorded so far."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from spoolwright.crafts.cards.standing import CardState, StepState
from spoolwright.crafts.cards.words import (
    both_units,
    limit_words,
    progress_words,
    put_down_words,
    source_words,
)
from spoolwright.crafts.typefile.shop.routes import Measure
from spoolwright.crafts.visit.entry import Body, Entry
from spoolwright.reports.pdf import set_print


def route_card_pdf(
    card: CardState, *, serial: str, demonstration: bool, address: str, audit_head: str, printed_at: datetime
) -> bytes:
    """The card as PDF; its QR code leads to the card's page.

    Parameters
    ----------
    card : CardState
        The card as it stands.
    serial : str
        The engine's serial.
    demonstration : bool
        Whether the type is invented.
    address : str
        Where the card is on the shop's server.
    audit_head : str
        Digest of the visit's newest record, printed at the foot.
    printed_at : datetime
        When it was printed, UTC.
    """

    def data(work: Path) -> dict[str, Any]:
        _draw_code(address, work / "code.svg")
        return {
            "title": card.card.title,
            "serial": serial,
            "visit": card.ref.visit,
            "card": card.ref.card,
            "run": card.ref.run,
            "revision": card.card.revision,
            "source": source_words(card.card.source, card.issued.body.documents),
            "because": card.issued.body.because,
            "any_order": card.card.any_order,
            "demonstration": demonstration,
            "address": address,
            "progress": progress_words(card, "-"),
            "put_down": [
                put_down_words(card, h)  # type: ignore[arg-type]
                for h in card.hands
                if h.kind == "card_put_down"
            ],
            "foot": f"Printed {printed_at:%Y-%m-%d %H:%M} UTC. Audit head {audit_head[:16]}. "
            "The record in the system governs; what is written here is entered there.",
            "steps": [_step(card, s) for s in card.steps],
        }

    return set_print("route_card.typ", data)


def _draw_code(address: str, path: Path) -> None:
    import segno

    segno.make(address, error="m", micro=False).save(str(path), kind="svg", border=2, scale=4)


def _by(entry: Entry[Body] | None) -> str:
    """Who signed, under which authorisation, when."""
    if entry is None or entry.signature is None:
        return ""
    s = entry.signature
    number = f", {s.authorisation}" if s.authorisation else ""
    return f"{s.name}{number}, {entry.at:%Y-%m-%d %H:%M}"


def _step(card: CardState, state: StepState) -> dict[str, Any]:
    step, documents = state.step, card.issued.body.documents
    check = state.valid_check
    return {
        "number": state.number,
        "text": step.text,
        "source": source_words(step.source, documents),
        "cautions": [{"text": c.text, "source": c.source} for c in step.caution],
        "only_chance": step.only_chance,
        "closure": step.closure,
        "role": step.signed_by,
        "signed": _by(state.signed) if state.is_signed else "",
        "correction": state.signed.reason if state.signed and state.signed.revision > 1 else "",
        "note": state.signed.body.note if state.signed else "",
        "waived": state.waived.body.cannot_because if state.waived else "",
        "check_role": step.checked_by if step.independent_check else "",
        "checked": _by(check) if check and check.body.agrees else "",
        "measures": [_measure(card, state, m) for m in step.measure],
    }


def _measure(card: CardState, state: StepState, measure: Measure) -> dict[str, Any]:
    held = card.readings(state).get(measure.id)
    return {
        "name": measure.name,
        "limit": limit_words(measure, card.issued.body.documents),
        "unit": measure.unit.replace("N m", "N·m"),
        "instrument": measure.instrument,
        "actual": both_units(held.body.entered, held.body.unit) if held else "",
        "gauge": _gauge(held) if held else "",
        "verdict": held.body.verdict if held else "",
    }


def _gauge(held: Any) -> str:
    if not held.body.gauge:
        return ""
    state = "" if held.body.gauge_valid else ", out of date"
    return f"{held.body.gauge}, due {held.body.gauge_due}{state}"
