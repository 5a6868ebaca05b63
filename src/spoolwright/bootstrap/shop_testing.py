"""Joins assessing, diagnosing, forecasting and the check on the aircraft with the shop's records."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from spoolwright.bootstrap import testing_calculations as calculations
from spoolwright.bootstrap.jobs import Job, Jobs
from spoolwright.bootstrap.progress import Tell
from spoolwright.bootstrap.shop import Shop
from spoolwright.bootstrap.testing_calculations import file_input
from spoolwright.crafts.installation.model import CheckEntered, ChecksCompared, InstallationResult
from spoolwright.crafts.installation.service import store_comparison
from spoolwright.crafts.testcell.visit.model import (
    RunAttached,
    RunDisposed,
    RunForecast,
    RunsAssessed,
    RunsDiagnosed,
    TestTables,
)
from spoolwright.crafts.testcell.visit.service import store_assessment, store_diagnosis, store_forecast
from spoolwright.crafts.testcell.visit.standing import standing
from spoolwright.crafts.visit.entry import Attachment, Body, Calculation, Entry
from spoolwright.crafts.visit.folder import Folder
from spoolwright.errors import InputError

_JSON = "application/json"
Clock = Callable[[], datetime]


class Testing:
    """What the test cell's pages ask to be computed."""

    __test__ = False

    def __init__(self, shop: Shop, clock: Clock, jobs: Jobs | None = None) -> None:
        self.shop, self.clock, self.jobs = shop, clock, jobs or Jobs()

    def assess(self, folder: Folder, login: str) -> Job:
        """Assess all runs of a visit.

        Raises
        ------
        InputError
            No run is attached.
        """
        runs = _runs(folder)
        inputs = {**self._of_type(folder, "baseline"), "runs": _as_inputs(runs)}
        names = tuple(e.body.run for e in runs)

        def keep(result: dict[str, Any]) -> str:
            return self._keep_assessment(folder, login, names, inputs, result)

        return self.jobs.begin(folder.visit, "assessing", login, assess_work, self._task(inputs), keep)

    def _keep_assessment(
        self, folder: Folder, login: str, names: tuple[str, ...], inputs: dict[str, Any], got: dict[str, Any]
    ) -> str:
        from spoolwright.crafts.testcell.model import Assessment
        from spoolwright.crafts.testcell.visit.rules import exceeded

        found = Assessment.model_validate_json(got["json"])
        number = len(folder.of(RunsAssessed)) + 1
        body = RunsAssessed(
            runs=names,
            outcome=found.disposition.outcome,
            sentence=found.disposition.sentence,
            open=found.disposition.open,
            exceeded=exceeded(found, folder.kind.type_file),
            result=self._file(got["json"], f"assessment-{number}.json"),
            traces=self._file(got["traces"], f"traces-{number}.json"),
            calculation=_calculation(calculations.ASSESS, inputs, got["digest"]),
        )
        return _link(store_assessment(self._desk(login), folder.visit, body))

    def diagnose(self, folder: Folder, login: str) -> Job:
        """Diagnose the runs of a visit that stand under the newest limit set's work.

        Raises
        ------
        InputError
            No run is attached.
        """
        runs = _since_reopening(folder, _runs(folder))
        inputs = {
            **self._of_type(folder, "baseline", "priors", "checks", "costs"),
            "runs": _as_inputs(runs),
            "earlier": _as_inputs(self._earlier(folder)),
        }
        names = tuple(e.body.run for e in runs)

        def keep(got: dict[str, Any]) -> str:
            digest = got["digest"]
            body = RunsDiagnosed(
                runs=names,
                outcome=digest["outcome"],
                sentence=digest["sentence"],
                proposal=digest["proposal"],
                result=self._file(got["json"], "diagnosis.json"),
                calculation=_calculation(calculations.DIAGNOSE, inputs, digest),
            )
            return _link(store_diagnosis(self._desk(login), folder.visit, body))

        return self.jobs.begin(folder.visit, "diagnosing", login, diagnose_work, self._task(inputs), keep)

    def forecast(self, folder: Folder, login: str, sheet: Attachment) -> Job:
        """Forecast the run to come from a build sheet."""
        inputs = {**self._of_type(folder, "baseline", "rules", "build_costs"), "sheet": file_input(sheet)}

        def keep(got: dict[str, Any]) -> str:
            body = RunForecast(
                sheet=sheet,
                answer=got["answer"],
                passing_all=got["digest"]["passing_all"],
                result=self._file(got["json"], "forecast.json"),
                calculation=_calculation(calculations.FORECAST, inputs, got["digest"]),
            )
            return _link(store_forecast(self._desk(login), folder.visit, body))

        return self.jobs.begin(folder.visit, "forecasting", login, forecast_work, self._task(inputs), keep)

    def compare(self, folder: Folder, login: str) -> Job:
        """Compare all checks on the aircraft with the accepted run.

        Raises
        ------
        InputError
            No run is accepted, or no check is entered.
        """
        accepted = standing(folder).accepted
        checks = sorted(
            folder.of(CheckEntered), key=lambda e: (e.body.reading.checked_on, e.body.reading.hours)
        )
        if accepted is None:
            raise InputError("no run of this visit is accepted.", mend="Checks are compared with such a run.")
        if not checks:
            raise InputError("no check on the aircraft is entered.", mend="Enter or import one first.")
        runs = [e for e in _runs(folder) if e.body.run in accepted.body.runs]
        inputs = {
            **self._of_type(folder, "baseline"),
            "runs": _as_inputs(runs),
            "shop_files": self._shop_files(folder),
            "checks": [e.body.reading.model_dump(mode="json") for e in checks],
            "confirmed": [bool(e.body.confirmed) for e in checks],
        }
        subjects = tuple(e.subject for e in checks)

        def keep(got: dict[str, Any]) -> str:
            result = InstallationResult.model_validate_json(got["json"])
            body = ChecksCompared(
                checks=subjects,
                bench_run=result.bench_run,
                result=result,
                calculation=_calculation(calculations.INSTALLED, inputs, got["digest"]),
            )
            store_comparison(self._desk(login), folder.visit, body)
            return f"/visit/{folder.visit}/installation"

        return self.jobs.begin(folder.visit, "comparing", login, compare_work, self._task(inputs), keep)

    def tables(self, type_id: str) -> Entry[TestTables] | None:
        """The shop's own tables for a type."""
        found = self.shop.records.current(TestTables, under=f"type/{type_id}/testcell")
        return found[0] if found else None

    def _of_type(self, folder: Folder, *tables: str) -> dict[str, Any]:
        adopted = self.shop.types.entry(folder.kind.type_file.type.id)
        if adopted is None:
            raise InputError("the type of this visit is not adopted.", mend="The lead adopts it first.")
        own = self.tables(adopted.body.type_id)
        files = {t: getattr(own.body, t) if own else None for t in tables}
        out: dict[str, Any] = {t: None if f is None else file_input(f) for t, f in files.items()}
        return {"type_file": file_input(adopted.body.type_file), **out}

    def _shop_files(self, folder: Folder) -> list[dict[str, str]]:
        adopted = self.shop.types.entry(folder.kind.type_file.type.id)
        return [file_input(f) for f in adopted.body.shop_files] if adopted else []

    def _earlier(self, folder: Folder) -> list[Entry[RunAttached]]:
        """Accepted runs of the same engine in earlier visits."""
        serial = self.shop.visit(folder.visit).opened.engine_serial
        out = []
        for line in self.shop.visits(open_only=False):
            if line.opened.engine_serial != serial or line.number == folder.visit:
                continue
            decided = self.shop.records.current(RunDisposed, visit=line.number)
            names = {r for e in decided if e.body.decision == "accepted" for r in e.body.runs[-1:]}
            runs = self.shop.records.current(RunAttached, visit=line.number)
            out += [e for e in runs if e.body.run in names]
        return out

    def _task(self, inputs: dict[str, Any]) -> dict[str, Any]:
        return {"inputs": inputs, "attachments": str(self.shop.attachments.folder)}

    def _desk(self, login: str) -> Any:
        return self.shop.desk(login, self.clock())

    def _file(self, text: str, name: str) -> Attachment:
        return self.shop.attachments.keep(text.encode(), name, _JSON)


def _runs(folder: Folder) -> list[Entry[RunAttached]]:
    runs = folder.of(RunAttached)
    if not runs:
        raise InputError(
            "no run is attached to this visit.", mend="Attach a recording and its run sheet first."
        )
    return runs


def _made_at(entry: Entry[CheckEntered]) -> tuple[object, float]:
    return entry.body.reading.checked_on, entry.body.reading.hours


def _since_reopening(folder: Folder, runs: list[Entry[RunAttached]]) -> list[Entry[RunAttached]]:
    """Runs after the last reopening: what was opened since is another engine to a diagnosis."""
    last = max((e.seq for e in standing(folder).reopened), default=0)
    return [e for e in runs if e.seq > last] or runs


def _as_inputs(runs: Sequence[Entry[RunAttached]]) -> list[dict[str, Any]]:
    return [
        {"run": e.body.run, "recording": file_input(e.body.recording), "sheet": file_input(e.body.sheet)}
        for e in runs
    ]


def _calculation(of: tuple[str, str], inputs: dict[str, Any], result: dict[str, Any]) -> Calculation:
    return Calculation(name=of[0], version=of[1], inputs=inputs, result=result)


def _link(entry: Entry[Body]) -> str:
    return f"/{entry.subject}"


def _reader(task: dict[str, Any]) -> calculations.Read:
    """Attachments as the worker reads them, each proven by its hash."""
    import hashlib

    folder = Path(task["attachments"])

    def read(sha256: str) -> bytes:
        content = (folder / sha256[:2] / sha256).read_bytes()
        if hashlib.sha256(content).hexdigest() != sha256:
            raise InputError(
                f"the attachment {sha256[:12]}… has been changed.", mend="Run `spoolwright verify`."
            )
        return content

    return read


def assess_work(task: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """In the worker: assess."""
    import json

    from spoolwright.reports.jsonfile import json_text

    found = calculations.assess_with_traces(task["inputs"], _reader(task), tell)
    return {
        "json": json_text(found.assessment),
        "digest": calculations.assessment_digest(found.assessment),
        "traces": json.dumps([s.model_dump(mode="json") for s in found.strips]),
    }


def diagnose_work(task: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """In the worker: diagnose."""
    from spoolwright.reports.jsonfile import json_text

    found, cause = calculations.diagnose_from(task["inputs"], _reader(task), tell)
    return {"json": json_text(found), "digest": calculations.diagnosis_digest(found, cause)}


def forecast_work(task: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """In the worker: forecast."""
    from spoolwright.reports.jsonfile import json_text

    found = calculations.forecast_from(task["inputs"], _reader(task), tell)
    digest = calculations.forecast_digest(found)
    return {"json": json_text(found), "digest": digest, "answer": found.answer}


def compare_work(task: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """In the worker: compare."""
    from spoolwright.reports.jsonfile import json_text

    found = calculations.installation_from(task["inputs"], _reader(task), tell)
    return {"json": json_text(found), "digest": calculations.installation_digest(found)}
