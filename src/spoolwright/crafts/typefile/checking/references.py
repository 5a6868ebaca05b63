"""Every name that a record uses stands in the file, and no name stands twice."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields

from spoolwright.core.cycle.condition import ConditionFactors
from spoolwright.crafts.typefile.base import Condition, Record, Source
from spoolwright.crafts.typefile.checking.context import Context, repeated
from spoolwright.crafts.typefile.checking.mistake import Mistake, Path, choice
from spoolwright.crafts.typefile.model import (
    DERIVED_QUANTITIES,
    Cell,
    Channel,
    Correction,
    DataSheet,
    Document,
    Gate,
    Instrument,
    Limit,
    LimitCurve,
    LimitSet,
    Module,
    Rating,
    ScheduleItem,
    Stabilisation,
    Station,
    SteadyRule,
)

_NAMED: dict[type[Record], str] = {
    Document: "document",
    Module: "module",
    Station: "station",
    Channel: "channel",
    Rating: "rating",
    LimitSet: "limit set",
    Limit: "limit",
    ScheduleItem: "schedule",
    Gate: "gate",
    Cell: "cell",
}
_MANY_OF_A_ROLE = ("vibration", "other", None)


def source_document(ctx: Context, path: Path, s: Source) -> Iterator[Mistake]:
    """The document a figure was taken from."""
    yield from ctx.unknown((*path, "document"), s.document, "document")


def channel_station(ctx: Context, path: Path, c: Channel) -> Iterator[Mistake]:
    """The station a channel is at."""
    if c.station:
        yield from ctx.unknown((*path, "station"), c.station, "station")


def condition_channel(ctx: Context, path: Path, c: Condition) -> Iterator[Mistake]:
    """The channel a window is on."""
    yield from ctx.unknown((*path, "channel"), c.channel, "channel")


def curve_channel(ctx: Context, path: Path, c: LimitCurve) -> Iterator[Mistake]:
    """The channel a limit depends on."""
    yield from ctx.unknown((*path, "of"), c.of, "channel")


def drift_channel(ctx: Context, path: Path, s: Stabilisation) -> Iterator[Mistake]:
    """The channel a stabilisation criterion watches."""
    yield from ctx.unknown((*path, "channel"), s.channel, "channel")


def instrument_channel(ctx: Context, path: Path, i: Instrument) -> Iterator[Mistake]:
    """The channel an instrument serves."""
    yield from ctx.unknown((*path, "channel"), i.channel, "channel")


def limit_names(ctx: Context, path: Path, limit: Limit) -> Iterator[Mistake]:
    """Quantity, rating and sets of a limit."""
    known = ctx.draft.named("channel") | set(DERIVED_QUANTITIES)
    if limit.quantity is not None and limit.quantity not in known:
        what = f"'{limit.quantity}' is neither a channel nor a derived quantity."
        yield Mistake((*path, "quantity"), what, choice(limit.quantity, known, "quantities"))
    yield from ctx.unknown((*path, "rating"), limit.rating, "rating")
    yield from _sets(ctx, path, limit.sets)


def schedule_names(ctx: Context, path: Path, item: ScheduleItem) -> Iterator[Mistake]:
    """Rating, setting channel and sets of a schedule item."""
    yield from ctx.unknown((*path, "rating"), item.rating, "rating")
    yield from ctx.unknown((*path, "set_by"), item.set_by, "channel")
    yield from _sets(ctx, path, item.sets)


def _sets(ctx: Context, path: Path, sets: tuple[str, ...]) -> Iterator[Mistake]:
    for i, name in enumerate(sets):
        yield from ctx.unknown((*path, "sets", i), name, "limit_set")
    yield from repeated((*path, "sets"), [((i,), s) for i, s in enumerate(sets)], "limit set")


def data_sheet_rating(ctx: Context, path: Path, d: DataSheet) -> Iterator[Mistake]:
    """The rating the model is scaled to."""
    yield from ctx.unknown((*path, "rating"), d.rating, "rating")


def module_factors(ctx: Context, path: Path, m: Module) -> Iterator[Mistake]:
    """The condition factors a module owns are factors of the engine model."""
    known = {f.name for f in fields(ConditionFactors)}
    for i, name in enumerate(m.factors):
        if name not in known:
            mend = choice(name, known, "condition factors")
            yield Mistake((*path, "factors", i), f"there is no condition factor '{name}'.", mend)


def unique_names(ctx: Context) -> Iterator[Mistake]:
    """No id stands twice in a table; no role, alias or factor is claimed twice."""
    for kind, noun in _NAMED.items():
        found = [(p, getattr(r, "id", None)) for p, r in ctx.draft.of(kind)]
        ids = [((*p, "id"), str(name)) for p, name in found if name is not None]
        yield from repeated((), ids, f"{noun} id")
    yield from repeated(
        (),
        [((*p, "role"), c.role) for p, c in ctx.draft.of(Channel) if c.role not in _MANY_OF_A_ROLE],
        "role",
    )
    factors = [((*p, "factors", i), f) for p, m in ctx.draft.whole(Module) for i, f in enumerate(m.factors)]
    yield from repeated((), factors, "condition factor")
    yield from _clashing_aliases(ctx)


def unique_parts(ctx: Context) -> Iterator[Mistake]:
    """Within one record, each law, criterion, factor and instrument stands once."""
    for p, correction in ctx.draft.whole(Correction):
        laws = [((i, "quantity"), x.quantity) for i, x in enumerate(correction.laws)]
        yield from repeated((*p, "laws"), laws, "correction of")
    for p, rule in ctx.draft.whole(SteadyRule):
        criteria = [((i, "channel"), x.channel) for i, x in enumerate(rule.criteria)]
        yield from repeated((*p, "criteria"), criteria, "criterion on")
    for p, cell in ctx.draft.whole(Cell):
        factors = [((i, "quantity"), x.quantity) for i, x in enumerate(cell.factors)]
        yield from repeated((*p, "factors"), factors, "factor on")
        instruments = [((i, "channel"), x.channel) for i, x in enumerate(cell.instruments)]
        yield from repeated((*p, "instruments"), instruments, "instrument of")


def _clashing_aliases(ctx: Context) -> Iterator[Mistake]:
    owners: dict[str, str] = {c.id.casefold(): c.id for c in ctx.channels.values()}
    for p, c in ctx.draft.whole(Channel):
        for i, alias in enumerate(c.aliases):
            owner = owners.setdefault(alias.casefold(), c.id)
            if owner != c.id:
                what = f"alias '{alias}' already names channel '{owner}'."
                yield Mistake((*p, "aliases", i), what, "An alias names one channel; capitals do not matter.")
