"""What putting a cause right takes: what is opened or changed, hours and money, from the shop's own table."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record

READING = "reading"
"""Stands in the table for every wrong reading that has no row of its own."""


class Reopening(Record):
    """A piece of work that puts some causes right."""

    id: Identifier
    text: str = Field(min_length=1, max_length=300, description="what is opened or changed, in words")
    causes: tuple[str, ...] = Field(
        min_length=1, description="ids of the causes that it puts right; 'reading' for all wrong readings"
    )
    hours: float = Field(ge=0, le=10_000, description="working hours, the run afterwards included")
    money: float = Field(default=0.0, ge=0, le=1e9, description="parts and services, without the hours")
    basis: str = Field(default="", max_length=300, description="where the figures come from")


class ReopeningTable(Record):
    """The shop's hours and money for every cause that a diagnosis may name."""

    format: Literal[1]
    currency: str = Field(min_length=1, max_length=8)
    reopening: tuple[Reopening, ...] = Field(min_length=1)


def reopening(cause_id: str, table: ReopeningTable) -> Reopening | None:
    """The work that a cause asks for; None where the table has none."""
    general = READING if cause_id.startswith(f"{READING}:") else cause_id
    for wanted in (cause_id, general):
        for row in table.reopening:
            if wanted in row.causes:
                return row
    return None


def opened(cause_id: str, module: str, table: ReopeningTable | None) -> str:
    """What would have to be opened for a cause: causes with the same answer need not be told apart."""
    row = reopening(cause_id, table) if table is not None else None
    if row is None:
        return module
    return f"{row.id} {module}" if cause_id.startswith(f"{READING}:") else row.id
