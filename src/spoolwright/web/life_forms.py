"""What people type about lives, as records; a mistake is a sentence beside its field."""

from __future__ import annotations

from datetime import date
from typing import Literal

from spoolwright.crafts.life.figure import exact
from spoolwright.crafts.life.model import DirectiveDone, PartBorn, PartUsed, RateStated, Reading
from spoolwright.errors import InputError
from spoolwright.web.form import Form


def figure_from(form: Form, name: str) -> str:
    """A figure as it was typed; empty where nothing was."""
    typed = form.get(name).replace(",", ".") if form.get(name).count(",") == 1 else form.get(name)
    exact(typed, name)
    return typed


def _reading(form: Form, prefix: str) -> Reading:
    return Reading(**{m: figure_from(form, f"{prefix}_{m}") for m in ("hours", "cycles", "starts")})


def _day(form: Form, name: str) -> date | None:
    return form.date(name) if form.get(name) else None


def _one_of(form: Form, name: str, allowed: tuple[str, ...]) -> str:
    typed = form.text(name)
    if typed not in allowed:
        raise InputError(
            f"'{typed[:40]}' is not in the list.", where=name, mend=f"One of: {', '.join(allowed)}."
        )
    return typed


def birth_from(form: Form) -> PartBorn:
    """A part's birth."""
    return PartBorn(
        part_number=form.text("pn", "part number"),
        serial=form.text("sn", "serial"),
        made_on=_day(form, "made_on"),
        counts=_reading(form, "born"),
        document=form.get("document"),
    )


def line_from(form: Form, kinds: list[str]) -> PartUsed:
    """A line of a ledger; what is left empty stays unknown."""
    flown = {k: n for k in kinds if (n := figure_from(form, f"flown_{k}"))}
    number = form.whole("n", "line")
    if not 1 <= number <= 9999:
        raise InputError("a line has a number from 1 to 9999.", where="n")
    return PartUsed.model_validate(
        {
            "part_number": form.text("pn", "part number"),
            "serial": form.text("sn", "serial"),
            "line": number,
            "began": _one_of(form, "began", ("installed", "continued")),
            "ended": _one_of(form, "ended", ("removed", "continued", "still fitted")),
            "engine_serial": form.get("engine_serial"),
            "module_serial": form.get("module_serial"),
            "on": _day(form, "on"),
            "off": _day(form, "off"),
            "engine_on": _reading(form, "engine_on"),
            "engine_off": _reading(form, "engine_off"),
            "part_on": _reading(form, "part_on"),
            "part_off": _reading(form, "part_off"),
            "operating_class": form.get("operating_class"),
            "table": form.get("table"),
            "flown": flown,
            "reason": form.get("reason"),
            "document": form.get("document"),
        }
    )


def rate_from(form: Form, kinds: list[str]) -> RateStated:
    """How the operator will use the engine."""
    hours = figure_from(form, "hours_per_month")
    flown = {k: n for k in kinds if (n := figure_from(form, f"flown_{k}"))}
    if not hours or not flown:
        where = "hours_per_month" if not hours else f"flown_{kinds[0]}"
        raise InputError("the rate is not whole.", mend="Give hours and cycles a month.", where=where)
    return RateStated(
        hours_per_month=hours,
        flown_per_month=flown,
        operating_class=form.text("operating_class"),
        stated_by=form.text("stated_by", "who stated it"),
        document=form.get("document"),
    )


def directive_from(form: Form, directive: str) -> DirectiveDone:
    """What was done about a directive."""
    state: Literal["complied", "not applicable"] = (
        "complied"
        if _one_of(form, "state", ("complied", "not applicable")) == "complied"
        else "not applicable"
    )
    return DirectiveDone(
        directive=directive,
        revision=form.text("revision"),
        state=state,
        how=form.text("how", "what was done"),
        on=form.date("on"),
        at=_reading(form, "at"),
        by=form.text("by", "who did it"),
        document=form.get("document"),
    )
