"""A finding as it is drafted: what, where, when, how to mend it. It gets its number at the end."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from spoolwright.crafts.testcell.ledger import Shown
from spoolwright.crafts.testcell.model import Finding
from spoolwright.crafts.testcell.wording import amount
from spoolwright.crafts.typefile.model import Channel

Kind = Literal[
    "swapped", "wrong_unit", "unlabelled_unit", "stuck", "spikes", "drift", "saturated", "gap", "time_order",
    "missing", "bias", "implausible", "unread_cells", "disagreement", "note",
]  # fmt: skip

PHYSICS = ("swapped", "wrong_unit", "drift", "bias", "disagreement", "implausible")
"""Kinds that say a reading contradicts the others."""


@dataclass(frozen=True)
class Draft:
    """A finding without number, run and signature."""

    kind: Kind
    channels: tuple[str, ...]
    text: str
    mend: str
    bars_use: bool
    from_s: float | None = None
    to_s: float | None = None
    probability: float | None = None
    signed: str = ""

    def numbered(self, run: str, number: int) -> Finding:
        """The finding, with the number it has within the run."""
        return Finding(
            id=f"{run}.D{number}",
            run=run,
            kind=self.kind,
            channels=self.channels,
            from_s=self.from_s,
            to_s=self.to_s,
            text=self.text,
            mend=self.mend,
            probability=self.probability,
            bars_use=self.bars_use,
            corrected_by=self.signed,
        )

    def signed_by(self, names: str) -> Draft:
        """The same, the contradiction removed by a signed correction."""
        return replace(self, signed=names)


def called(channel: Channel) -> str:
    """A channel with its id and its name."""
    return f"'{channel.id}' ({channel.name})"


def shown(channel: Channel, value: float, *, difference: bool = False) -> str:
    """A value in the channel's own unit, with four digits at least."""
    text = amount(value, Shown(channel.dimension, channel.unit), difference=difference)
    number, _, unit = text.partition(" ")
    digits = f"{float(number):.0f}" if abs(float(number)) >= 1e4 else f"{float(number):.4g}"
    return f"{digits} {unit}".strip()


def clock(seconds: float) -> str:
    """A moment of the recording."""
    return f"{seconds:.1f} s"
