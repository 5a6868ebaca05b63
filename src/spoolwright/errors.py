"""One tree of errors, mapped once to an exit code.

A verdict (a rejected reading, a bad channel, a point that did not converge) is a returned result.
An exception means that the call or its input was wrong; its text says what, where and how to mend it.
"""

from __future__ import annotations

from dataclasses import dataclass


class SpoolwrightError(Exception):
    """Base of every error this project raises on purpose.

    Parameters
    ----------
    what : str
        What was wrong: quantity, value, limit and unit.
    mend : str
        How to put it right.
    where : str
        File, line, channel or field; empty when the call itself says it.
    """

    exit_code = 1

    def __init__(self, what: str, *, mend: str = "", where: str = "") -> None:
        self.what, self.mend, self.where = what, mend, where
        place = f"{where}: " if where else ""
        advice = f" {mend}" if mend else ""
        super().__init__(f"{place}{what}{advice}")


class RangeError(SpoolwrightError):
    """A quantity lies outside the range in which a calculation is valid."""

    exit_code = 3


class InputError(SpoolwrightError):
    """A file or value could not be read as what it claims to be."""

    exit_code = 4


class MistakesError(InputError):
    """A file that people write holds one or more mistakes; `problems` lists all of them."""

    noun = "file"

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        lines = "\n".join(f"  {p}" for p in problems)
        super().__init__(f"{len(problems)} mistake(s) in the {self.noun}:\n{lines}")


class TypeFileError(MistakesError):
    """Mistakes in a type file."""

    noun = "type file"


class RunSheetError(MistakesError):
    """Mistakes in a run sheet."""

    noun = "run sheet"


class BuildSheetError(MistakesError):
    """Mistakes in a build sheet."""

    noun = "build sheet"


class CostTableError(MistakesError):
    """Mistakes in a cost table."""

    noun = "cost table"


class CheckTableError(MistakesError):
    """Mistakes in a table of checks."""

    noun = "table of checks"


class ShopHistoryError(MistakesError):
    """Mistakes in a table of the shop's history."""

    noun = "shop history"


class PriorsError(MistakesError):
    """Mistakes in a table of priors."""

    noun = "table of priors"


class BuildHistoryError(MistakesError):
    """Mistakes in a history of builds."""

    noun = "build history"


class LedgerError(MistakesError):
    """Mistakes in a table of ledgers."""

    noun = "ledger"


class LivesError(MistakesError):
    """Mistakes in a table of lives."""

    noun = "table of lives"


class MissingExtra(SpoolwrightError):
    """An optional package is needed for what was asked."""

    exit_code = 5


class OutputError(SpoolwrightError):
    """A result could not be written."""

    exit_code = 6


def sentence_of(error: BaseException) -> str:
    """What any error tells people, whichever command met it.

    Parameters
    ----------
    error : BaseException
        One of this project's, or whatever else ended the work.

    Returns
    -------
    str
        What was wrong and how to mend it.
    """
    if isinstance(error, SpoolwrightError):
        return str(error)
    if isinstance(error, MemoryError):
        return "there is not enough memory for this. Assess fewer or shorter runs."
    return (
        f"a fault in the program itself ({type(error).__name__}: {error}). "
        "Set SPOOLWRIGHT_TRACEBACK=1 and run again to see where, and report it."
    )


@dataclass(frozen=True)
class Problem:
    """One mistake in a file: where, what, and how to mend it."""

    file: str
    line: int | None
    where: str
    what: str
    mend: str

    def __str__(self) -> str:
        line = f":{self.line}" if self.line else ""
        return f"{self.file}{line} [{self.where}] {self.what} {self.mend}"
