"""Results of the test cell as its pages show them; each is read from its attachment once."""

from __future__ import annotations

from functools import lru_cache
from threading import Lock
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.requests import Request

from spoolwright.bootstrap.shop_testing import Testing
from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
from spoolwright.crafts.testcell.forecast.model import Forecast
from spoolwright.crafts.testcell.model import Assessment
from spoolwright.crafts.visit.desk import Desk
from spoolwright.web.form import FRAME, SECRET, Form
from spoolwright.web.frame import NotThereError, frame_of

if TYPE_CHECKING:
    from spoolwright.reports.derived import Family, How


_MAKING = Lock()


def testing_of(request: Request) -> Testing:
    """What computes for the test cell's pages, one for the server."""
    state = request.app.state
    with _MAKING:
        if getattr(state, "testing", None) is None:
            frame = frame_of(request)
            state.testing = Testing(frame.shop, frame.settings.clock)
    found: Testing = state.testing
    return found


def files_of(desk: Desk) -> Any:
    """The attachments behind a desk, as what is kept of them is kept by."""
    return desk.attachments


@lru_cache(maxsize=24)
def assessment_of(attachments: Any, sha256: str) -> Assessment:
    """An assessment from its file."""
    return Assessment.model_validate_json(attachments.read(sha256))


@lru_cache(maxsize=12)
def traces_shown(attachments: Any, sha256: str) -> dict[str, str]:
    """Strip charts by run, as recorded; nothing is judged in them."""
    import json

    from spoolwright.crafts.testcell.model import Strip
    from spoolwright.reports.labels import short_names
    from spoolwright.reports.traces import print_svg

    by_run: dict[str, list[Strip]] = {}
    for given in json.loads(attachments.read(sha256)):
        strip = Strip.model_validate(given)
        by_run.setdefault(strip.run, []).append(strip)
    out = {}
    for run, strips in by_run.items():
        names = short_names([s.name for s in strips])
        named = [s.model_copy(update={"name": n}) for s, n in zip(strips, names, strict=True)]
        out[run] = print_svg(named, (), width=760.0, style="")
    return out


@lru_cache(maxsize=24)
def diagnosis_of(attachments: Any, sha256: str) -> Diagnosis:
    """A diagnosis from its file."""
    return Diagnosis.model_validate_json(attachments.read(sha256))


@lru_cache(maxsize=24)
def forecast_of(attachments: Any, sha256: str) -> Forecast:
    """A forecast from its file."""
    return Forecast.model_validate_json(attachments.read(sha256))


@lru_cache(maxsize=24)
def assessment_shown(attachments: Any, sha256: str) -> dict[str, Any]:
    """What the page of an assessment shows."""
    from spoolwright.reports import labels, view
    from spoolwright.reports.charts import chart_svg, charts
    from spoolwright.reports.figures import clock, percent
    from spoolwright.reports.proposal import asks, proposal, still_open, unsettled
    from spoolwright.reports.rated import rated_tables

    a = assessment_of(attachments, sha256)
    return {
        "a": a,
        "proposal": proposal(a),
        "unsettled": unsettled(a),
        "asks": asks(a),
        "still_open": still_open(a),
        "thinnest": view.thinnest(a),
        "groups": view.groups(a),
        "rated": rated_tables(a),
        "charts": [(c.title, chart_svg(c)) for c in charts(a)],
        "words": labels.words,
        "outcome_word": labels.OUTCOME,
        "clock": clock,
        "percent": percent,
    }


@lru_cache(maxsize=24)
def diagnosis_shown(attachments: Any, sha256: str) -> dict[str, Any]:
    """What the page of a diagnosis shows."""
    from spoolwright.reports import diagnosis_view as view
    from spoolwright.reports import labels
    from spoolwright.reports.diagnosis_margins import margin_tables
    from spoolwright.reports.figures import clock

    d = diagnosis_of(attachments, sha256)
    return {
        "d": d,
        "answer": view.answer(d),
        "proposal": view.proposal(d),
        "fit": view.fit(d) if d.residuals else None,
        "blocks": view.blocks(d),
        "checks": view.checks(d),
        "first_checks": view.FIRST_CHECKS,
        "margins": margin_tables(d),
        "cases": view.cases(d),
        "words": labels.words,
        "clock": clock,
    }


@lru_cache(maxsize=24)
def _hows(attachments: Any, sha256: str, kind: str) -> dict[str, tuple[Family, How]]:
    """Every figure's derivation by its id."""
    from spoolwright.reports.derived import gathered, results_of
    from spoolwright.reports.diagnosis_how import families

    if kind == "diagnosis":
        found = families(diagnosis_of(attachments, sha256))
    else:
        read = assessment_of if kind == "assessment" else forecast_of
        record = read(attachments, sha256)
        found = gathered(dict(record.derivations), results_of(record))
    return {m.id: (f, m) for f in found for m in f.members}


def how_of(attachments: Any, sha256: str, kind: str, id: str) -> dict[str, Any]:
    """One figure's derivation: what it is, from what, by which calculation and document.

    Raises
    ------
    NotThereError
        The result has no such figure.
    """
    found = _hows(attachments, sha256, kind).get(id)
    if found is None:
        raise NotThereError("this result has no such figure.", mend="Go back to the page of the result.")
    return {"family": found[0], "how": found[1]}


def query_of(form: Form) -> str:
    """What was typed, to be read again on the page that is signed."""
    kept = {k: v[0] for k, v in form.values.items() if k not in SECRET | FRAME and v and v[0].strip()}
    return urlencode(kept)


def typed(request: Request) -> Form:
    """The values in a page's address, read as a form."""
    return Form({k: (v,) for k, v in request.query_params.items()})
