"""What a look at the recorded rows alone can tell: a sign, where it stands, and how much of it there is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SignKind = Literal[
    "repeated_time", "backward_time", "unreadable_time", "silence", "empty", "gap", "unread", "stuck",
    "constant", "spikes", "saturated", "clipped", "implausible",
]  # fmt: skip


@dataclass(frozen=True)
class ChannelRules:
    """What is known of a channel before looking at it.

    Parameters
    ----------
    range : (float, float)
        Instrument range [inner unit].
    plausible : (float, float)
        Outside this no engine of the type can be, running or not [inner unit].
    noise : float
        Usual standard deviation of a sample in a steady hold; 0 for a channel without noise [inner unit].
    digital : bool
        A state or a counter: it may stand still and jump as it likes [-].
    turn : float
        Full turn of a direction, which goes round from one end of its range to the other; 0 for anything
        else [inner unit].
    """

    range: tuple[float, float]
    plausible: tuple[float, float]
    noise: float
    digital: bool = False
    turn: float = 0.0


@dataclass(frozen=True)
class Sign:
    """Something in the rows of a recording.

    Parameters
    ----------
    kind : str
        What it is [-].
    channel : str
        Channel; empty where it concerns the clock [-].
    first, last : int
        First and last row, both included [-].
    rows : int
        Rows concerned between them [-].
    value : float
        The value that stands still, the end of the range, the furthest value, the time lost [inner unit].
    """

    kind: SignKind
    channel: str
    first: int
    last: int
    rows: int
    value: float
