"""A weighing as the record of a diagnosis: outcome, sentence, suspects with evidence, margins, cautions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from spoolwright import __version__
from spoolwright.core.diagnosis.diagnosing import Weighing
from spoolwright.core.diagnosis.weighing import PriorShares, Sized
from spoolwright.crafts.testcell.diagnosis.inseparable import groups_of
from spoolwright.crafts.testcell.diagnosis.model import (
    Check,
    Diagnosis,
    Group,
    Outcome,
    Pair,
    Residual,
    Suspect,
)
from spoolwright.crafts.testcell.diagnosis.prepared import Prepared, Tables, Weighed
from spoolwright.crafts.testcell.diagnosis.speaking import effect, row_outputs
from spoolwright.crafts.testcell.diagnosis.suspects import Scribe, magnitude
from spoolwright.crafts.testcell.diagnosis.visit_read import VisitRead, kinds_missing
from spoolwright.crafts.testcell.diagnosis.words import OUTPUT_NAMES, counted, size_texts
from spoolwright.crafts.testcell.ledger import Ledger
from spoolwright.crafts.testcell.service import CAUTIONS, run_ref
from spoolwright.crafts.testcell.wording import joined, percent
from spoolwright.crafts.typefile.model import TypeFile

ALARM = 0.03
"""A cause is called found only where nothing wrong is less probable than this."""
FOUND = 0.8
"""A cause or a group is called found only where it is at least so probable."""
CALM = 0.5
"""Nothing is called found where nothing wrong is at least so probable; between the two it is unclear."""
TELLS = 0.15
"""Beside a found cause a check is proposed only where it is expected to tell at least this much [bit]."""
FEW = 1e-3
"""A misfit less probable than this under the best explanation says that something else may be at work."""
NEVER = 1e-6
"""A misfit less probable than this, and no cause is called found: none of them is what happened."""
CAUTION = "A probability is no finding: no part is serviceable or rejected by it before somebody has looked."
_PAIRS = 0.005


def told(by: Prepared, w: Weighed, past: Sequence[VisitRead]) -> Diagnosis:
    """The record of a diagnosis."""
    ledger = Ledger()
    newest = w.read.runs[-1].sheet
    suspects = Scribe(by, w, by.margin_teller(newest.limit_set), ledger).suspects()
    groups = groups_of(w.weighing)
    outside = misfit(w.weighing)
    outcome, sentence = _outcome(w, suspects, groups) if outside >= NEVER else _unexplained(suspects)
    missing = kinds_missing(w.read, by.kind.basis)
    if missing:
        sentence = f"{sentence} {' '.join(missing)}"
    if NEVER <= outside < FEW:
        sentence += " None of the causes explains the readings well: something else may be at work."
    checks = _checks(by, w, outcome)
    return Diagnosis(
        **_head(by, w.read),
        outcome=outcome,
        sentence=sentence,
        proposal=_proposal(outcome, suspects, groups, checks),
        healthy=w.healthy,
        outside=outside,
        suspects=suspects,
        pairs=_pairs(w.weighing, by.kind.type_file),
        groups=groups,
        checks=checks,
        residuals=_residuals(w.weighing),
        earlier=tuple(_earlier(past)),
        left_out=(*w.read.left_out, *(f"earlier: {t}" for p in past for t in p.left_out)),
        derivations=ledger.derivations,
    )


def cannot_tell(by: Prepared, read: VisitRead, why: str) -> Diagnosis:
    """A diagnosis of runs that carry none."""
    return Diagnosis(
        **_head(by, read),
        outcome="cannot_tell",
        sentence=why,
        proposal="Proposed: mend what is named above and repeat the run. Accepted by: ____",
        healthy=by.tables.shares.healthy,
        outside=1.0,
        suspects=(),
        pairs=(),
        groups=(),
        checks=(),
        residuals=(),
        left_out=read.left_out,
    )


def _head(by: Prepared, read: VisitRead) -> dict[str, object]:
    type_file = by.kind.type_file
    costs = by.tables.costs
    return {
        "program": f"spoolwright {__version__}",
        "type_id": type_file.type.id,
        "type_name": type_file.type.name,
        "type_file_sha256": by.kind.sha256,
        "demonstration": type_file.type.demonstration,
        "engine_serial": read.runs[-1].sheet.engine.serial,
        "baseline": by.baseline.words,
        "baseline_sha256": by.baseline_sha256,
        "priors": priors_in_words(by.tables),
        "currency": "" if costs is None else costs.currency,
        "runs": tuple(run_ref(r) for r in read.runs),
        "findings": read.findings,
        "cautions": (*read.cautions, CAUTIONS[0], CAUTION),
    }


def priors_in_words(tables: Tables) -> str:
    """The prior shares as a sentence."""
    s: PriorShares = tables.shares
    source = f"from '{tables.priors_file}'" if tables.priors_file else "not from this shop's log"
    text = (
        f"nothing wrong {percent(s.healthy)}, one cause in a module {percent(s.module)}, "
        f"one wrong reading {percent(s.reading)}, two at once {percent(s.pair)} ({source}); causes of a kind "
    )
    weights = [f"{n} ×{x:g}" for n, x in tables.weights.items()]
    return text + (f"weigh alike but for {joined(weights)}" if weights else "weigh alike")


def _outcome(w: Weighed, suspects: Sequence[Suspect], groups: Sequence[Group]) -> tuple[Outcome, str]:
    points = sum(o.size for o in w.weighing.case.now)
    rests = f"{counted(points, 'steady point')} of {counted(len(w.weighing.case.now), 'run')}"
    if w.healthy >= CALM or not suspects:
        return "nothing_found", f"Nothing wrong is found: {percent(w.healthy)} by {rests}."
    top = suspects[0]
    size = f"{_size(top)}; " if top.kind != "mechanical" else ""
    if w.healthy < ALARM and top.probability >= FOUND:
        return "cause_found", f"{top.text}: {size}{top.words}, {percent(top.probability)} by {rests}."
    if w.healthy < ALARM and groups and groups[0].probability >= FOUND:
        texts = {s.id: s.text for s in suspects}
        names = [texts.get(c, c) for c in groups[0].causes]
        return (
            "group_found",
            f"One of {len(names)} causes that these runs cannot tell apart: {' / '.join(names)}; together "
            f"{percent(groups[0].probability)} by {rests}.",
        )
    return (
        "unclear",
        f"Not clear: nothing wrong {percent(w.healthy)}, {top.text.lower() if top.text else top.id} "
        f"{percent(top.probability)} by {rests}.",
    )


def _unexplained(suspects: Sequence[Suspect]) -> tuple[Outcome, str]:
    """What is said where no cause is what happened."""
    nearest = f"; nearest comes “{suspects[0].text}”" if suspects else ""
    return (
        "unclear",
        f"None of the causes explains these readings{nearest}: something else is at work, or a reading or an "
        "entry on the run sheet is far off. Check these first.",
    )


def _size(s: Suspect) -> str:
    mean, interval = size_texts(s.magnitude)
    return f"{mean} ({interval})"


def _proposal(
    outcome: Outcome, suspects: Sequence[Suspect], groups: Sequence[Group], checks: Sequence[Check]
) -> str:
    """What is proposed; a person decides."""
    if outcome == "nothing_found":
        return "Proposed: nothing to reopen. Accepted by: ____"
    if suspects and suspects[0].kind == "reading" and suspects[0].probability >= CALM:
        check = _instrument(suspects[0], checks)
        return f"Proposed: the instrument before anything else; {check}. Accepted by: ____"
    if outcome == "cause_found":
        top = suspects[0]
        what = top.reopen or f"look at the {_lowered(top.module_name)} before anything else is opened"
        telling = checks and checks[0].information >= TELLS
        first = f"; first: {_lowered(checks[0].text)}" if telling else ""
        return f"Proposed: {_lowered(what)}{first}. Accepted by: ____"
    if checks:
        return f"Proposed: next, {_lowered(checks[0].text)}; open nothing before. Accepted by: ____"
    return "Proposed: gain more evidence before anything is opened. Accepted by: ____"


def _instrument(reading: Suspect, checks: Sequence[Check]) -> str:
    """How an instrument is looked at first: the check of the shop's table for it, else its cost table's."""
    own = next((c.text for c in checks if c.id.endswith(f":{reading.module}")), "")
    return _lowered(own or reading.reopen or f"check {reading.module_name} against a standard")


def _lowered(text: str) -> str:
    """A text inside a sentence: a first capital goes, an abbreviation stays."""
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


def _checks(by: Prepared, w: Weighed, outcome: Outcome) -> tuple[Check, ...]:
    if by.tables.checks is None or outcome == "nothing_found":
        return ()
    from spoolwright.crafts.testcell.diagnosis.checks import ranked_checks

    return ranked_checks(w.weighing, by.weigher, by.tables.checks, by.tables.costs)


def misfit(weighing: Weighing) -> float:
    """Probability of a misfit at least as large if the most probable explanation were true."""
    from scipy.stats import chi2

    best = weighing.explanations[0]
    left = weighing.white.residual.copy()
    for s in best.causes:
        i = next(k for k, c in enumerate(weighing.causes) if c.id == s.cause.id)
        left -= weighing.white.slopes[i] * s.mean + weighing.white.curvatures[i] * s.mean**2
    return float(chi2.sf(float(left @ left), left.size - len(best.causes)))


def _pairs(weighing: Weighing, type_file: TypeFile) -> tuple[Pair, ...]:
    return tuple(
        Pair(
            causes=(e.ids[0], e.ids[1]),
            texts=(e.causes[0].cause.text, e.causes[1].cause.text),
            probability=e.probability,
            magnitudes=(
                magnitude(e.causes[0], weighing, type_file),
                magnitude(e.causes[1], weighing, type_file),
            ),
        )
        for e in weighing.explanations
        if len(e.causes) == 2 and e.probability >= _PAIRS
    )


def _residuals(weighing: Weighing) -> tuple[Residual, ...]:
    causes: Sequence[Sized] = weighing.explanations[0].causes
    explained = (
        np.sum([effect(weighing, s) for s in causes], axis=0) if causes else np.zeros_like(weighing.surprise)
    )
    spread = np.sqrt(np.diag(weighing.covariance))
    outputs = row_outputs(weighing)
    points = np.concatenate([np.tile(c.observation.points, len(c.outputs)) for c in weighing.seen])
    return tuple(
        Residual(
            output=str(o),
            name=OUTPUT_NAMES[str(o)],
            point=str(p),
            value=float(v),
            standard_uncertainty=float(u),
            explained=float(x),
        )
        for o, p, v, u, x in zip(outputs, points, weighing.surprise, spread, explained, strict=True)
        if o
    )


def _earlier(past: Sequence[VisitRead]) -> list[str]:
    return [
        f"visit {o.visit or 'without a name'}, run {o.run}: {counted(o.size, 'point')}"
        for p in past
        for o in p.observations
    ]
