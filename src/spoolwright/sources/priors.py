"""Reads the shop's prior shares and weights of causes; every mistake with its line."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path

from spoolwright.crafts.testcell.diagnosis.priors import Priors, Shares, Weight
from spoolwright.crafts.typefile.checking.draft import Draft, frozen, read_draft
from spoolwright.crafts.typefile.checking.mistake import Mistake
from spoolwright.errors import PriorsError
from spoolwright.sources.cost_table import unknown_cause
from spoolwright.sources.toml_text import problems_of, read_toml

_WHOLE = 1e-6
"""How far the shares may be from one."""


def read_priors(path: Path | str, causes: Collection[str]) -> Priors:
    """Read and check a table of priors; `causes` are ids of the causes in modules.

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    PriorsError
        The table holds mistakes; `problems` lists them all, by line.
    """
    read = read_toml(Path(path), PriorsError)
    draft, mistakes = read_draft(read.raw, Priors)
    mistakes = [*mistakes, *_shares(draft), *_weights(draft, causes)]
    if mistakes:
        raise PriorsError(problems_of(mistakes, read))
    return Priors.model_validate(frozen(read.raw), strict=True)


def _shares(draft: Draft) -> Iterator[Mistake]:
    for path, row in draft.of(Shares):
        parts = [getattr(row, name) for name in Shares.model_fields]
        if all(isinstance(p, int | float) for p in parts) and abs(sum(parts) - 1.0) > _WHOLE:
            yield Mistake(path, f"the shares add up to {sum(parts):g}.", "Make them add up to 1.")


def _weights(draft: Draft, causes: Collection[str]) -> Iterator[Mistake]:
    seen: set[str] = set()
    for path, row in draft.of(Weight):
        if isinstance(row.cause, str) and row.cause not in causes:
            yield unknown_cause((*path, "cause"), row.cause, causes)
        elif row.cause in seen:
            yield Mistake((*path, "cause"), f"cause '{row.cause}' stands twice.", "Keep one of the two.")
        seen.add(row.cause)
