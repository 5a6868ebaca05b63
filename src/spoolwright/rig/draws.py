"""Random numbers of the rig: a named stream per cause, so that one draw changed leaves the others alone."""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.random import Generator


def stream(seed: int, *names: str | int) -> Generator:
    """The random stream of one cause within one seed: same names and seed, same numbers."""
    text = "\x1f".join(str(name) for name in names)
    key = int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big")
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, key])))
