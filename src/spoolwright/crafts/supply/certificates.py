"""Incoming certificates, field by field: what the paper must say about the part in the hand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from spoolwright.crafts.supply.model import STATUS_WORDS, Certificate, StockReceived
from spoolwright.crafts.typefile.shop.parts import PartKind

FIELDS = {
    "number": "form tracking number (block 3)",
    "authority": "authority (block 1)",
    "organisation": "organisation (block 4)",
    "part_number": "part number (block 8)",
    "quantity": "quantity (block 9)",
    "serial_or_lot": "serial or lot (block 10)",
    "status_word": "status / work (block 11)",
    "approval_number": "approval number (block 13c or 14c)",
    "dated": "date (block 13e or 14e)",
}
"""What is looked at on every certificate: field and its words."""


@dataclass(frozen=True)
class Covered:
    """Another serial or lot that came in under the same number of the same organisation."""

    tag: str
    quantity: int
    certificate: Certificate


def certificate_mistakes(
    certificate: Certificate | None,
    part_number: str,
    tag: str,
    quantity: int,
    received_on: date,
    others: Sequence[Covered] = (),
) -> list[str]:
    """Everything in which a certificate does not fit the part, in words; none: it fits.

    One certificate may name several serials; all that came in under its number must then say the same.
    """
    if certificate is None:
        return ["there is no release certificate."]
    empty = [
        f"{words} is empty." for field, words in FIELDS.items() if getattr(certificate, field) in ("", None)
    ]
    return [
        *empty,
        *_differences(certificate, part_number, tag, received_on),
        *_quantities(certificate, quantity, others),
        *_unlike(certificate, others),
    ]


def _differences(paper: Certificate, part_number: str, tag: str, received_on: date) -> Iterator[str]:
    if paper.part_number and paper.part_number != part_number:
        yield f"the certificate is for part number {paper.part_number}, the part is {part_number}."
    if paper.tags and tag not in paper.tags:
        yield f"the certificate is for {', '.join(paper.tags)}, the part is {tag}."
    if paper.status_word and paper.status_word not in STATUS_WORDS:
        words = ", ".join(STATUS_WORDS)
        yield f"status word '{paper.status_word}' is no release for installation; those are {words}."
    if paper.dated and paper.dated > received_on:
        yield f"the certificate is dated {paper.dated}, after the part was received on {received_on}."


def _quantities(paper: Certificate, quantity: int, others: Sequence[Covered]) -> Iterator[str]:
    """More came in than the certificate covers."""
    came = quantity + sum(o.quantity for o in others)
    if paper.quantity is not None and paper.quantity < came:
        with_others = f", with {', '.join(o.tag for o in others)}" if others else ""
        yield f"the certificate covers {paper.quantity:g}, received are {came}{with_others}."


def _unlike(paper: Certificate, others: Sequence[Covered]) -> Iterator[str]:
    """A number stands for one release: what came in under it cannot say different things."""
    for other in others:
        unlike = [w for f, w in FIELDS.items() if getattr(other.certificate, f) != getattr(paper, f)]
        if unlike:
            yield f"the same certificate number came with {other.tag}, with another {', '.join(unlike)}."


def shelf_mistakes(stock: StockReceived, kind: PartKind | None) -> list[str]:
    """What is missing to tell the shelf life."""
    if kind and kind.shelf_life_days and stock.made_on is None and stock.expires_on is None:
        return ["its shelf life runs from the cure or filling date, and no date is given."]
    return []
