"""A choice of work scope: parts and findings with their options, and what follows from each choice."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class WorkOption:
    """What may be done about a part or finding.

    Parameters
    ----------
    cost : float
        Money, in any one currency [-].
    hours : float
        Hours at the bench, as usually taken [h].
    wait : float
        Days until the part is there, as usually taken [d].
    life : float
        What the part may run afterwards; infinite without a limit [h].
    changes : frozenset of int
        Numbers of the changes of the margins that it brings; two options that bring the same one bring it
        once [-].
    opens : frozenset of int
        Numbers of the modules that must be open for it [-].
    """

    cost: float
    hours: float = 0.0
    wait: float = 0.0
    life: float = math.inf
    changes: frozenset[int] = frozenset()
    opens: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Opening:
    """What opening a module takes, once, whatever is done in it.

    Parameters
    ----------
    cost : float
        Money, parts that are renewed each time included [-].
    hours : float
        Hours at the bench, closing included [h].
    """

    cost: float
    hours: float


@dataclass(frozen=True)
class ScopeCase:
    """Everything that a choice of scope rests on.

    Parameters
    ----------
    items : tuple of tuple of WorkOption
        For each part or finding its options, of which one is chosen [-].
    openings : tuple of Opening
        For each module [-].
    hours_a_day : float
        Bench hours that the visit gets in a day [h].
    margins : tuple of float
        Mean margins as built, each in standard uncertainties of the reading to come [-].
    changes : tuple of tuple of float
        What each change adds to each margin, in the same measure [-].
    """

    items: tuple[tuple[WorkOption, ...], ...]
    openings: tuple[Opening, ...]
    hours_a_day: float
    margins: tuple[float, ...] = ()
    changes: tuple[tuple[float, ...], ...] = ()


@dataclass(frozen=True)
class Bounds:
    """What a scope must keep.

    Parameters
    ----------
    cost : float
        At most [-].
    days : float
        At most [d].
    margin : float
        Least margin, at least [-].
    life : float
        Least remaining life, at least [h].
    """

    cost: float = math.inf
    days: float = math.inf
    margin: float = -math.inf
    life: float = -math.inf


@dataclass(frozen=True)
class Scope:
    """A choice for every item, with what follows from it.

    Parameters
    ----------
    chosen : tuple of int
        Number of the option of each item [-].
    opened : tuple of int
        Numbers of the modules that are opened [-].
    cost, hours, days : float
        Money [-], bench hours [h], longest wait and bench hours after each other [d].
    margins : tuple of float
        Mean margins, in standard uncertainties [-].
    margin, life : float
        Least of the margins [-]; least remaining life [h].
    """

    chosen: tuple[int, ...]
    opened: tuple[int, ...]
    cost: float
    hours: float
    days: float
    margins: tuple[float, ...]
    margin: float
    life: float

    @property
    def aims(self) -> tuple[float, float, float, float]:
        """Cost, days, margin, life, the last two turned round: less is better in each [-]."""
        return self.cost, self.days, -self.margin, -self.life


def scope_of(case: ScopeCase, chosen: tuple[int, ...]) -> Scope:
    """What follows from a choice.

    Parameters
    ----------
    case : ScopeCase
        Options, openings, margins [-].
    chosen : tuple of int
        Number of the option of each item [-].

    Returns
    -------
    Scope
        Cost, hours, days, margins, life [-].
    """
    picked = [options[n] for options, n in zip(case.items, chosen, strict=True)]
    opened = tuple(sorted(set().union(*(o.opens for o in picked))))
    hours = math.fsum([*(o.hours for o in picked), *(case.openings[m].hours for m in opened)])
    made = sorted(set().union(*(o.changes for o in picked)))
    margins = tuple(math.fsum([m, *(case.changes[c][i] for c in made)]) for i, m in enumerate(case.margins))
    return Scope(
        chosen=chosen,
        opened=opened,
        cost=math.fsum([*(o.cost for o in picked), *(case.openings[m].cost for m in opened)]),
        hours=hours,
        days=max((o.wait for o in picked), default=0.0) + hours / case.hours_a_day,
        margins=margins,
        margin=min(margins, default=0.0),
        life=min((o.life for o in picked), default=math.inf),
    )
