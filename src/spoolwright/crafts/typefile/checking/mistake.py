"""A mistake in a type file, before it has a line number."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches

MOST_MISTAKES = 500
"""After so many, reading stops: the file is something else, or hostile."""
MOST_ELEMENTS = 2000
"""Of one list. No type has so many channels, limits or corners of a curve."""

Path = tuple[str | int, ...]
"""Keys and indices from the top of the file down to the value."""


@dataclass(frozen=True)
class Mistake:
    """What is wrong at a path, and how to mend it."""

    path: Path
    what: str
    mend: str


class TooManyMistakes(Exception):
    """So many mistakes that going on helps nobody."""


def path_text(path: Path) -> str:
    """A path as people read it: channel[3].range."""
    text = "".join(f"[{p + 1}]" if isinstance(p, int) else f".{p}" for p in path)
    return text.lstrip(".")


def nearest(word: str, known: list[str] | tuple[str, ...] | set[str]) -> str:
    """The known word closest to this one; empty when none is close."""
    found = get_close_matches(word[:60], sorted(known), n=1, cutoff=0.6)
    return found[0] if found else ""


def listed(words: list[str] | tuple[str, ...] | set[str], limit: int = 40) -> str:
    """Known words for an error text, cut short when there are very many."""
    shown = sorted(words)
    rest = f", … ({len(shown)} in all)" if len(shown) > limit else ""
    return ", ".join(shown[:limit]) + rest if shown else "none"


def choice(word: str, known: list[str] | tuple[str, ...] | set[str], noun: str) -> str:
    """How to mend a name that is not known: the nearest one, or all of them."""
    near = nearest(word, known)
    return f"Did you mean '{near}'?" if near else f"Known {noun}: {listed(known)}."
