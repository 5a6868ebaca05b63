"""What a scope is computed from, as numbers: lives, findings, margins, read by who joins the crafts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Need = Literal["", "repair", "replace"]
"""What findings ask for: nothing; at least a repair; another part."""


@dataclass(frozen=True)
class PartFacts:
    """What is known of a part in the engine.

    `life_h` is what it may still run, None where it has no limit; `need` what its findings ask for, with
    `because`. `unknown` says what must be known before a scope can be computed.
    """

    part: str
    serials: tuple[str, ...] = ()
    life_h: float | None = None
    need: Need = ""
    because: tuple[str, ...] = ()
    unknown: str = ""


@dataclass(frozen=True)
class MarginFacts:
    """The forecast's margins, limit by limit: mean less guard band, standard uncertainty."""

    limits: tuple[str, ...]
    means: tuple[float, ...]
    uncertainties: tuple[float, ...]
    passing: float
    changes: dict[str, tuple[float, ...]]
    """By the id of a change: what it adds to each mean."""
    source: str = ""


@dataclass(frozen=True)
class Missing:
    """What is asked for, and where it is entered. `blocks`: no scope can be computed without it."""

    text: str
    link: str
    blocks: bool = False


@dataclass(frozen=True)
class Facts:
    """Everything a scope is computed from."""

    parts: dict[str, PartFacts]
    margins: MarginFacts | None
    missing: tuple[Missing, ...] = ()
