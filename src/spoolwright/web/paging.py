"""Long lists in pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")
ON_A_PAGE = 50


@dataclass(frozen=True)
class Pages(Generic[T]):
    """One page of a list, and the way to its neighbours."""

    items: Sequence[T]
    total: int
    at: int
    of: int
    address: str

    @property
    def before(self) -> str:
        """Address of the page before; empty on the first."""
        return f"{self.address}&at={self.at - 1}" if self.at > 1 else ""

    @property
    def after(self) -> str:
        """Address of the next page; empty on the last."""
        return f"{self.address}&at={self.at + 1}" if self.at < self.of else ""


def pages_of(items: Sequence[T], at: int, address: str) -> Pages[T]:
    """A page of a list that is at hand; a number beyond the end shows the last one."""
    of = max(1, -(-len(items) // ON_A_PAGE))
    at = min(max(at, 1), of)
    return Pages(items[(at - 1) * ON_A_PAGE : at * ON_A_PAGE], len(items), at, of, address)
