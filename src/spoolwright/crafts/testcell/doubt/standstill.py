"""A plateau at a channel's extreme, told apart: cut off there, or standing still while the engine goes on."""

from __future__ import annotations

import numpy as np

from spoolwright.core.reduction.doubt.levels import quiet
from spoolwright.core.reduction.doubt.plateau import leaps_back, out_of_step
from spoolwright.core.reduction.doubt.scan import STILL_S
from spoolwright.core.reduction.doubt.signs import BoolArray, Sign
from spoolwright.core.reduction.trace import runs_of
from spoolwright.crafts.testcell.doubt.channels import Look

_STRAYS = 2
"""So many other rows may happen to read the same value to the last digit."""


def told_apart(look: Look, sign: Sign) -> Sign:
    """A channel that is cut off at its extreme; as stuck where that cannot be."""
    if sign.kind != "clipped" or look.time.size < 2 or look.bins.edges.size < 5 or not look.voters:
        return sign
    at = look.recording[sign.channel] == sign.value
    first, end = max(runs_of(at), key=lambda run: run[1] - run[0])
    unbroken = end - first >= np.count_nonzero(at) - _STRAYS and (end - first) * look.step >= STILL_S
    plateau = np.zeros(at.size, dtype=bool)
    plateau[first:end] = True
    if not unbroken or not _stood_still(look, sign, plateau[look.forward]):
        return sign
    return Sign("stuck", sign.channel, first, end - 1, end - first, sign.value)


def _stood_still(look: Look, sign: Sign, plateau: BoolArray) -> bool:
    """Whether the rows before and after, or the other readings, rule out that it is cut off."""
    bins, voters = look.bins, look.voters
    noises = np.array([look.noise(c) for c in voters])
    calm = quiet(bins.means, noises) & ~bins.resting
    x, noise = look.values(sign.channel), look.noise(look.channels[sign.channel])
    rows = np.flatnonzero(plateau)
    end = int(rows[-1]) + 1 if rows.size else 0
    bin_of_end = int(np.searchsorted(bins.edges, end, side="right")) - 1
    if calm[max(bin_of_end - 1, 0) : bin_of_end + 1].all() and leaps_back(x[end:], sign.value, noise):
        return True
    share = np.add.reduceat(plateau[: bins.edges[-1]], bins.edges[:-1], dtype=float) / np.diff(bins.edges)
    others = [k for k, c in enumerate(voters) if c.id != sign.channel]
    use = calm & ((share == 0.0) | (share == 1.0))
    return out_of_step(
        look.binned(sign.channel)[use], share[use] == 1.0, sign.value, noise,
        bins.means[use][:, others], noises[others],
    )  # fmt: skip
