"""What a ledger can be wrong about. Each one ends the proof of life; none is ever mended by the tool."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Fault(StrEnum):
    """A kind of gap or contradiction."""

    NO_BIRTH = "no birth record"
    NO_DOCUMENT = "no source document"
    UNKNOWN = "use not recorded"
    JUMP = "jump"
    BACKWARDS = "runs backwards"
    MISMATCH = "does not add up"
    TWO_ENGINES = "in two engines at once"
    DATES = "dates out of order"
    WRONG_TABLE = "wrong exchange table"
    CONTRADICTS = "contradicts another entry"


@dataclass(frozen=True)
class Finding:
    """One of them: on which line (0 is the birth), in which measure, in words, and who can close it how."""

    fault: Fault
    line: int
    measure: str
    text: str
    mend: str

    def __str__(self) -> str:
        return f"{self.fault}: {self.text}"
