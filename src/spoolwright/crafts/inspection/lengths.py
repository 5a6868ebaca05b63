"""Exact lengths: the entered figure is the master, comparisons are made without rounding."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated

from pydantic import Field

from spoolwright.crafts.typefile.base import Record
from spoolwright.crafts.typefile.shop.inspection import LengthUnit

INCH = Fraction(254, 10)
"""Millimetres in an inch, exact since 1959."""


class Size(Record):
    """A length as it was measured: the text that was entered, its unit, its standard uncertainty."""

    value: Annotated[str, Field(pattern=r"^\d{1,6}(\.\d{1,6})?$")]
    unit: LengthUnit
    uncertainty: Annotated[str, Field(pattern=r"^(\d{1,6}(\.\d{1,6})?)?$")] = ""

    @property
    def mm(self) -> Fraction:
        """The length in millimetres, exact."""
        return in_mm(self.value, self.unit)

    @property
    def u_mm(self) -> float:
        """Standard uncertainty in millimetres; zero where none is stated."""
        return float(in_mm(self.uncertainty, self.unit)) if self.uncertainty else 0.0

    def __str__(self) -> str:
        return f"{self.value} {self.unit}"


def in_mm(printed: str, unit: LengthUnit) -> Fraction:
    """A printed length in millimetres, exact."""
    return Fraction(printed) * (INCH if unit == "in" else 1)


def shown_mm(length: Fraction, unit: LengthUnit, places: int = 4) -> str:
    """A computed length in a unit, rounded for reading only."""
    value = length / INCH if unit == "in" else length
    return f"{float(value):.{places}f}".rstrip("0").rstrip(".") + f" {unit}"
