"""After installation: checks on the aircraft against the bench run. The flight manual rules."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from spoolwright.crafts.installation.model import CheckEntered, CheckReading, ChecksCompared
from spoolwright.crafts.installation.open import open_items
from spoolwright.crafts.installation.reading import ALTITUDE, PRESSURE, QUANTITIES
from spoolwright.crafts.installation.service import ENTERS, confirm_check, correct_check, enter_checks
from spoolwright.crafts.testcell.visit.standing import standing
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.visit.entry import Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.errors import InputError
from spoolwright.reports.margin_chart import Axis, Dot, margin_chart
from spoolwright.sources.installation_checks import checks_from
from spoolwright.units import unit_of
from spoolwright.web.form import Form
from spoolwright.web.frame import DeskHere, FolderHere, FormHere, page, redirect
from spoolwright.web.security.content import TEXT
from spoolwright.web.testcell_views import testing_of

router = APIRouter()
ROOM = "/visit/{number}/installation"
UNITS = {
    "pressure_altitude": ("ft", "m"),
    "pressure": ("hPa", "inHg", "kPa", "psi"),
    "outside_air_temperature": ("degC", "degF"),
    "gas_generator_speed": ("%", "rpm"),
    "power_turbine_speed": ("%", "rpm"),
    "torque": ("%", "N m", "lbf ft"),
    "measured_gas_temperature": ("degC", "degF"),
}
LABELS = {
    "pressure_altitude": "Pressure altitude",
    "pressure": "Ambient pressure",
    "outside_air_temperature": "Outside air temperature",
    "gas_generator_speed": "Ng",
    "power_turbine_speed": "Np",
    "torque": "Torque",
    "measured_gas_temperature": "MGT",
}
DIMENSIONS = {q.name: q.dimension for q in (ALTITUDE, PRESSURE, *QUANTITIES)}


@router.get(ROOM)
def installation(request: Request, number: str, desk: DeskHere, folder: FolderHere) -> Response:
    """The manual's verdict on the last check, agreement with the bench, the trend."""
    checks = sorted(folder.of(CheckEntered), key=lambda e: (e.body.reading.checked_on, e.body.reading.hours))
    newest = max(folder.of(ChecksCompared), key=lambda e: e.seq, default=None)
    by_subject = {e.subject: e for e in checks}
    rows = (
        [(by_subject[s], c) for s, c in zip(newest.body.checks, newest.body.result.checks, strict=True)
         if s in by_subject]
        if newest
        else []
    )  # fmt: skip
    return page(
        request,
        "installation/installation.html",
        items=open_items(folder),
        jobs=testing_of(request).jobs.of_visit(number),
        checks=checks,
        newest=newest,
        waiting=[e for e in checks if newest is None or e.seq > newest.seq],
        rows=rows,
        chart=_chart(newest, rows) if newest and rows else "",
        accepted=standing(folder).accepted,
        power_check=folder.kind.shop.power_check,
        may=bool(set(ENTERS) & desk.person.roles),
        units=UNITS,
        labels=_asked(),
    )


def _chart(newest: Entry[ChecksCompared], rows: Sequence[tuple[Entry[CheckEntered], object]]) -> str:
    """Margins over hours with the robust line."""
    result = newest.body.result
    bench = result.bench_margin
    dots = [Dot(0.0, bench.value, bench.half_width, "bench run", f"/record/{newest.seq}", used=True)]
    for (entry, _), c in zip(rows, result.checks, strict=True):
        if c.margin is not None:
            label = f"{c.checked_on}, {c.hours:g} h: {c.margin.value:+.1f} %"
            dots.append(
                Dot(c.hours, c.margin.value, c.margin.half_width, label, f"/record/{entry.seq}", c.used)
            )
    most = max(c.hours for c in result.checks)
    axis = Axis("hours since installation [h]; at 0 the bench run", -0.02 * most, 1.03 * most)
    return margin_chart(dots, axis, "Margin of power over hours since installation", line=result.trend.line)


@router.post(ROOM + "/checks")
def enter(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Enter one check."""
    enter_checks(desk, number, [_reading(form)], folder.kind.type_file, form.key)
    return _compared(request, number, desk.person.login, desk.now.date())


def _asked(without: str = "pressure") -> dict[str, str]:
    """The quantities that a form asks for: the altitude or the pressure, whichever was read."""
    return {name: label for name, label in LABELS.items() if name != without}


def _units(entry: Entry[CheckEntered] | None = None) -> dict[str, tuple[str, ...]]:
    """Units to choose from; the one in which a value was entered is always among them."""
    was = {name: getattr(entry.body.reading, name) for name in UNITS} if entry else {}
    return {
        name: units if was.get(name) is None or was[name].unit in units else (was[name].unit, *units)
        for name, units in UNITS.items()
    }


def _reading(form: Form) -> CheckReading:
    by_pressure = bool(form.get("pressure_unit"))
    return CheckReading(
        checked_on=form.date("checked_on", "the day"),
        hours=form.number("hours", "hours since installation"),
        bleed=form.ticked("bleed"),
        anti_ice=form.ticked("anti_ice"),
        made_by=form.get("made_by"),
        remark=form.get("remark"),
        **{name: _amount(form, name) for name in _asked("pressure_altitude" if by_pressure else "pressure")},
    )


def _amount(form: Form, name: str) -> Amount:
    unit = form.text(f"{name}_unit", "the unit")
    if unit != "%":
        unit = unit_of(unit, DIMENSIONS[name]).name
    return Amount(value=form.number(name, LABELS[name]), unit=unit)


@router.post(ROOM + "/import")
def import_checks(
    request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere
) -> Response:
    """Import the operator's table."""
    desk.entitled(*ENTERS)
    files = form.files("table", (TEXT,))
    if len(files) != 1:
        raise InputError("choose the table of checks.", where="table")
    content, name, kind = files[0]
    try:
        read = checks_from(content, name, folder.kind.type_file)
    except InputError as error:
        raise InputError(error.what, mend=error.mend, where="table") from error
    kept = desk.attachments.keep(content, name, kind.media_type)
    enter_checks(desk, number, read.readings, folder.kind.type_file, form.key, file=kept, lines=read.lines)
    return _compared(request, number, desk.person.login, desk.now.date())


def _compared(request: Request, number: str, login: str, today: date) -> Response:
    """Compare where a run is accepted, and go back to the room."""
    testing = testing_of(request)
    folder = testing.shop.folder(number, today)
    if standing(folder).accepted is not None and folder.kind.shop.power_check is not None:
        testing.compare(folder, login)
    return redirect(f"/visit/{number}/installation")


@router.post(ROOM + "/compare")
def compare(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Compare all checks with the bench run."""
    testing_of(request).compare(folder, desk.person.login)
    return redirect(f"/visit/{number}/installation")


def _check(folder: Folder, subject: str) -> Entry[CheckEntered]:
    found = next((e for e in folder.of(CheckEntered) if e.subject == subject), None)
    if found is None:
        raise InputError("this check is not there.", mend="Open the page again.")
    return found


@router.post(ROOM + "/confirm")
def confirm(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """A doubted check stands as it was read."""
    confirm_check(desk, _check(folder, form.text("subject")), form.text("found", "what you found"))
    return _compared(request, number, desk.person.login, desk.now.date())


@router.get(ROOM + "/correct")
def correct_page(request: Request, number: str, subject: str, desk: DeskHere, folder: FolderHere) -> Response:
    """The form that corrects a check."""
    entry = _check(folder, subject)
    return page(
        request,
        "installation/correct.html",
        entry=entry,
        units=_units(entry),
        labels=_asked("pressure_altitude" if entry.body.reading.pressure else "pressure"),
    )


@router.post(ROOM + "/correct")
def correct(request: Request, number: str, desk: DeskHere, folder: FolderHere, form: FormHere) -> Response:
    """Correct a check; the first entry stays readable."""
    entry = _check(folder, form.text("subject"))
    correct_check(desk, entry, _reading(form), folder.kind.type_file, form.text("reason"))
    return _compared(request, number, desk.person.login, desk.now.date())


@router.get(ROOM + "/jobs")
def jobs(request: Request, number: str, folder: FolderHere) -> Response:
    """How far the comparison is."""
    found = testing_of(request).jobs.of_visit(number)
    answer = page(request, "testcell/jobs.html", jobs=found)
    if not any(not j.over for j in found):
        answer.headers["HX-Refresh"] = "true"
    return answer
