"""A limit says one thing, can be judged, and does not contradict another."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from spoolwright.crafts.typefile.base import Amount, Condition
from spoolwright.crafts.typefile.checking.context import Context, find_unit, inner
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path
from spoolwright.crafts.typefile.curve import curve_value
from spoolwright.crafts.typefile.model import Limit, LimitCurve, LimitException, Rating
from spoolwright.units import to_inner

_AT_RATING = ("power_at_rated_mgt", "mgt_at_rated_power", "ng_at_rated_power", "sfc_at_rated_power")


def limit_shape(ctx: Context, path: Path, limit: Limit) -> Iterator[Mistake]:
    """A limit has a figure, and only one steady figure."""
    if limit.value is None and limit.curve is None and not limit.time_at:
        yield Mistake(path, "the limit has no figure.", "Give value, curve or time_at.")
    if limit.value is not None and limit.curve is not None:
        yield Mistake((*path, "value"), "the limit has both a value and a curve.", "Keep the one that holds.")
    if limit.regime == "rating" and limit.rating is None:
        yield Mistake(path, "a limit of regime 'rating' names no rating.", 'Add rating = "…".')
    if limit.regime != "rating" and limit.rating is not None:
        mend = 'Set regime = "rating", or remove the rating.'
        yield Mistake((*path, "rating"), f"a limit of regime '{limit.regime}' names a rating.", mend)
    if limit.quantity in _AT_RATING and limit.regime != "rating":
        what = f"'{limit.quantity}' exists only at a rating, not in regime '{limit.regime}'."
        yield Mistake((*path, "regime"), what, 'Set regime = "rating" and name the rating.')


def limit_times(ctx: Context, path: Path, limit: Limit) -> Iterator[Mistake]:
    """Times at temperature rise in value and fall in time, below the limit's own value."""
    if limit.time_at and limit.bound == "min":
        yield Mistake((*path, "time_at"), "time_at counts time above a value.", 'Use it with bound = "max".')
    for i, (a, b) in enumerate(pairwise(limit.time_at), start=1):
        if b.value <= a.value or b.seconds >= a.seconds:
            what = f"{b.value:g} for {b.seconds:g} s after {a.value:g} for {a.seconds:g} s."
            yield Mistake((*path, "time_at", i), what, "Values rise and times fall: check the figures.")
    if limit.time_at and limit.value is not None and limit.value <= limit.time_at[-1].value:
        what = f"the value {limit.value:g} is not above the last time_at, {limit.time_at[-1].value:g}."
        yield Mistake((*path, "value"), what, "No time may be spent above the value; check both figures.")


def curve_order(ctx: Context, path: Path, curve: LimitCurve) -> Iterator[Mistake]:
    """The corners of a curve stand in rising order."""
    if len(curve.points) < 2:
        yield Mistake((*path, "points"), "a curve needs at least two corner points.", "Add points [x, y].")
    for i, (a, b) in enumerate(pairwise(curve.points), start=1):
        if b[0] <= a[0]:
            what = f"x = {b[0]:g} follows x = {a[0]:g}; x must rise from corner to corner."
            yield Mistake((*path, "points", i), what, "Sort the corners, or correct the figure.")


def window_order(ctx: Context, path: Path, c: Condition) -> Iterator[Mistake]:
    """A window has an end, and its ends are in order."""
    if c.min is None and c.max is None:
        yield Mistake(path, "the window has neither min nor max.", "Give at least one end.")
    elif c.min is not None and c.max is not None and c.min >= c.max:
        yield Mistake(
            (*path, "min"), f"min {c.min:g} is not below max {c.max:g}.", "Swap or correct the ends."
        )


def exception_sense(ctx: Context, path: Path, limit: Limit) -> Iterator[Mistake]:
    """An exception excuses: it is looser than the limit and ends."""
    for i, e in enumerate(limit.exceptions):
        place = (*path, "exceptions", i)
        if not e.when and e.for_seconds is None:
            yield Mistake(place, "the exception holds always.", "Give when or for_seconds.")
        if limit.value is not None and _stricter(limit, e):
            what = f"the exception {e.value:g} is stricter than the limit {limit.value:g}."
            yield Mistake(
                (*place, "value"), what, "An exception excuses; state a stricter value as its own limit."
            )


def _stricter(limit: Limit, e: LimitException) -> bool:
    assert limit.value is not None
    return e.value < limit.value if limit.bound == "max" else e.value > limit.value


def limit_within_instrument(ctx: Context, path: Path, limit: Limit) -> Iterator[Mistake]:
    """Every figure of a limit lies inside the instrument's range, else it could never be judged."""
    c = ctx.channels.get(limit.quantity)
    if c is None or c.range is None:
        return
    low, high = inner(c.range[0], c.unit), inner(c.range[1], c.unit)
    for place, figure in _figures(limit):
        value = inner(figure, limit.unit)
        if value is not None and low is not None and high is not None and not low < value < high:
            span = f"{c.range[0]:g} … {c.range[1]:g} {c.unit}"
            what = f"{figure:g} {limit.unit} is outside the range of channel '{c.id}', {span}."
            yield Mistake((*path, *place), what, "Check figure, unit and instrument range.")


def _figures(limit: Limit) -> Iterator[tuple[Path, float]]:
    if limit.value is not None:
        yield ("value",), limit.value
    for i, t in enumerate(limit.time_at):
        yield ("time_at", i, "value"), t.value
    for i, e in enumerate(limit.exceptions):
        yield ("exceptions", i, "value"), e.value
    for i, p in enumerate(limit.curve.points if limit.curve else ()):
        yield ("curve", "points", i), p[1]


def nominal_meets(ctx: Context, path: Path, limit: Limit) -> Iterator[Mistake]:
    """A nominal new engine meets the limits at its ratings."""
    rating = ctx.ratings.get(limit.rating or "")
    if rating is None or limit.value is None:
        return
    nominal = _nominal(rating, limit.quantity)
    value = inner(limit.value, limit.unit)
    have = inner(nominal.value, nominal.unit) if nominal else None
    if nominal is None or value is None or have is None:
        return
    if have < value if limit.bound == "min" else have > value:
        what = (
            f"a nominal engine has {nominal.value:g} {nominal.unit} there and would not meet {limit.value:g}."
        )
        yield Mistake((*path, "value"), what, f"Check this figure and rating '{rating.id}'.")


def _nominal(rating: Rating, quantity: str) -> Amount | None:
    if quantity == "power_at_rated_mgt":
        return rating.nominal_power or rating.power
    if rating.nominal_power is None or rating.nominal_power == rating.power:
        return {
            "mgt_at_rated_power": rating.measured_gas_temperature,
            "ng_at_rated_power": rating.gas_generator_speed,
            "sfc_at_rated_power": rating.specific_fuel_consumption,
        }.get(quantity)
    return None  # the rating's figures are at more than the rated power


def contradictions(ctx: Context) -> Iterator[Mistake]:
    """No greatest value lies below a least value where both hold, and nothing is stated twice."""
    by_quantity: dict[str, list[tuple[Path, Limit]]] = {}
    for path, limit in ctx.draft.whole(Limit):
        for earlier_path, earlier in by_quantity.setdefault(limit.quantity, []):
            yield from _against(earlier_path, earlier, path, limit)
        by_quantity[limit.quantity].append((path, limit))


def _against(earlier_path: Path, earlier: Limit, path: Path, limit: Limit) -> Iterator[Mistake]:
    if earlier.bound != limit.bound and _both_hold(earlier, limit):
        top, bottom = (earlier, limit) if earlier.bound == "max" else (limit, earlier)
        where = _crossing(top, bottom)
        if where is not None:
            figure = "curve" if limit.curve else "value"
            what = f"contradicts limit '{earlier.id}': {where}."
            yield Mistake((*path, figure), what, "Check figures, units and windows of both.")
    elif earlier.bound == limit.bound and _same_claim(earlier, limit):
        what = f"states again what limit '{earlier.id}' states."
        yield Mistake(path, what, "Remove one, or tell them apart by regime, window, set or figure.")


def _both_hold(a: Limit, b: Limit) -> bool:
    regimes = a.regime == b.regime or "run" in (a.regime, b.regime)
    return regimes and a.rating == b.rating and bool(set(a.sets) & set(b.sets)) and _windows_meet(a, b)


def _same_claim(a: Limit, b: Limit) -> bool:
    def claim(x: Limit) -> object:
        return (x.quantity, x.bound, x.regime, x.rating, x.unit, x.value, x.curve, x.time_at, x.valid_when)

    return a.value == b.value and claim(a) == claim(b) and bool(set(a.sets) & set(b.sets))


def _windows_meet(a: Limit, b: Limit) -> bool:
    return all(_overlap(x, y) for x in a.valid_when for y in b.valid_when if x.channel == y.channel)


def _overlap(x: Condition, y: Condition) -> bool:
    low = max(_end(x.min, x.unit, -1e300), _end(y.min, y.unit, -1e300))
    high = min(_end(x.max, x.unit, 1e300), _end(y.max, y.unit, 1e300))
    return low <= high


def _end(value: float | None, unit: str, open_end: float) -> float:
    found = inner(value, unit)
    return open_end if found is None else found


def _crossing(top: Limit, bottom: Limit) -> str | None:
    """Where a max lies below a min, in words; None when nowhere."""
    shared = top.curve and bottom.curve and top.curve.of == bottom.curve.of
    if top.curve and bottom.curve and not shared:
        return None  # over different channels: no one point to compare at
    for x in _corners(top, bottom):
        high, low = _at(top, x), _at(bottom, x)
        if high is not None and low is not None and high < low:
            curve = top.curve or bottom.curve
            where = f" at {curve.of} = {x:g} (inner unit)" if curve and x is not None else ""
            return f"the greatest value lies below the least{where}"
    return None


def _corners(*limits: Limit) -> list[float | None]:
    """Inner x of every corner of the limits' curves; [None] for two plain values."""
    curves = [x.curve for x in limits if x.curve and find_unit(x.curve.x_unit)]
    xs: set[float | None] = {to_inner(x, c.x_unit) for c in curves for x, _ in c.points}
    return list(xs) or [None]


def _at(limit: Limit, x: float | None) -> float | None:
    if limit.curve is None:
        return inner(limit.value, limit.unit)
    if x is None or find_unit(limit.unit) is None or find_unit(limit.curve.x_unit) is None:
        return None
    return curve_value(limit.curve, limit.unit, x)
