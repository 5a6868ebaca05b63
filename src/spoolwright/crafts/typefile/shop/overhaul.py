"""What the shop's documents ask before the word 'overhauled' may stand on a release."""

from __future__ import annotations

from pydantic import Field

from spoolwright.crafts.typefile.base import Identifier, Record, Source


class OverhaulSteps(Record):
    """Cards (CARD) and steps (CARD/STEP) by which a module counts as overhauled, a list for each word."""

    module: Identifier
    disassembled: tuple[str, ...] = Field(min_length=1)
    cleaned: tuple[str, ...] = Field(min_length=1)
    inspected: tuple[str, ...] = Field(min_length=1)
    reassembled: tuple[str, ...] = Field(min_length=1)
    source: Source


class OverhaulTest(Record):
    """The limits under which an overhauled engine must have been tested and accepted."""

    limit_set: tuple[Identifier, ...] = Field(min_length=1)
    source: Source
