"""Incoming certificates, field by field: what the paper must say about the part in the hand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
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


def certificate_mistakes(
    certificate: Certificate | None,
    part_number: str,
    tag: str,
    quantity: int,
    received_on: date,
    elsewhere: Iterable[str] = (),
) -> list[str]:
    """Everything in which a certificate does not fit the part, in words; none: it fits.

    `elsewhere` names other parts that came in under the same number of the same organisation.
    """
    if certificate is None:
        return ["there is no release certificate."]
    empty = [
        f"{words} is empty." for field, words in FIELDS.items() if getattr(certificate, field) in ("", None)
    ]
    return [*empty, *_differences(certificate, part_number, tag, quantity, received_on), *_again(elsewhere)]


def _differences(
    paper: Certificate, part_number: str, tag: str, quantity: int, received_on: date
) -> Iterator[str]:
    if paper.part_number and paper.part_number != part_number:
        yield f"the certificate is for part number {paper.part_number}, the part is {part_number}."
    if paper.serial_or_lot and paper.serial_or_lot != tag:
        yield f"the certificate is for {paper.serial_or_lot}, the part is {tag}."
    if paper.quantity is not None and paper.quantity < quantity:
        yield f"the certificate covers {paper.quantity:g}, received are {quantity}."
    if paper.status_word and paper.status_word not in STATUS_WORDS:
        words = ", ".join(STATUS_WORDS)
        yield f"status word '{paper.status_word}' is no release for installation; those are {words}."
    if paper.dated and paper.dated > received_on:
        yield f"the certificate is dated {paper.dated}, after the part was received on {received_on}."


def _again(elsewhere: Iterable[str]) -> Iterator[str]:
    for part in elsewhere:
        yield f"the same certificate number came with {part}: a number stands for one release."


def shelf_mistakes(stock: StockReceived, kind: PartKind | None) -> list[str]:
    """What is missing to tell the shelf life."""
    if kind and kind.shelf_life_days and stock.made_on is None and stock.expires_on is None:
        return ["its shelf life runs from the cure or filling date, and no date is given."]
    if stock.made_on and stock.made_on > stock.received_on:
        return [f"made on {stock.made_on}, after it was received on {stock.received_on}."]
    return []
