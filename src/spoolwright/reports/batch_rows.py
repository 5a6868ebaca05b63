"""A diagnosis as one row of a table of many: what was found, how sure, and what it rests on."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from spoolwright import __version__

if TYPE_CHECKING:
    from spoolwright.crafts.testcell.diagnosis.model import Diagnosis, Pair, Suspect

PROGRAM = f"spoolwright {__version__}"
FAILED = "error"
"""Outcome of a run that could not be diagnosed."""
TOP = 5
"""Causes, and pairs of them, that a row keeps."""
SHARED = ("type_file", "channel_map", "baseline", "priors", "checks", "costs")
"""Files that all rows of a batch rest on."""

Row = dict[str, Any]


@dataclass(frozen=True)
class Hashes:
    """SHA-256 of all that a row rests on; empty for what could not be read or is not there."""

    recording: str
    run_sheet: str
    shared: Mapping[str, str]

    @property
    def key(self) -> str:
        """One hash over all of it and the program's version: the same key means the same row."""
        shared = (f"{k} {v}" for k, v in sorted(self.shared.items()))
        parts = (f"recording {self.recording}", f"run sheet {self.run_sheet}", *shared, PROGRAM)
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()


_TEXTS = (
    "recording",
    "outcome",
    "sentence",
    "proposal",
    "error",
    "engine_serial",
    "run",
    "cell",
    "limit_set",
)
_CAUSE_TEXTS = ("id", "text", "kind", "module", "size_unit")
_CAUSE_NUMBERS = ("probability", "alone", "size", "size_low", "size_high")


def schema() -> Any:
    """Arrow schema of the table. Sizes are in the unit named beside them, margins in inner units."""
    import pyarrow as pa

    def records(texts: Iterable[str], numbers: Iterable[str]) -> Any:
        fields = [(t, pa.string()) for t in texts] + [(n, pa.float64()) for n in numbers]
        return pa.list_(pa.struct(fields))

    group = pa.struct([("causes", pa.list_(pa.string())), ("probability", pa.float64())])
    hashes = ("recording", "run_sheet", *SHARED)
    return pa.schema(
        [
            *((name, pa.string()) for name in _TEXTS),
            ("healthy", pa.float64()),
            ("outside", pa.float64()),
            ("causes", records(_CAUSE_TEXTS, _CAUSE_NUMBERS)),
            ("pairs", records(("first", "second"), ("probability",))),
            ("groups", pa.list_(group)),
            ("margins", records(("cause", "rating", "quantity", "limit", "unit"), ("now", "after"))),
            ("next_check", pa.string()),
            ("left_out", pa.list_(pa.string())),
            *((f"{name}_sha256", pa.string()) for name in hashes),
            ("program", pa.string()),
            ("key", pa.string()),
        ]
    )


def row_of(found: Diagnosis, name: str, hashes: Hashes) -> Row:
    """The row of a run that was diagnosed."""
    ranked = sorted(found.suspects, key=lambda s: -s.probability)[:TOP]
    pairs = sorted(found.pairs, key=lambda p: -p.probability)[:TOP]
    run = found.runs[0]
    return {
        **_rests_on(name, hashes),
        "key": hashes.key,
        "outcome": found.outcome,
        "sentence": found.sentence,
        "proposal": found.proposal,
        "error": "",
        "engine_serial": found.engine_serial,
        "run": run.run,
        "cell": run.cell,
        "limit_set": run.limit_set,
        "healthy": found.healthy,
        "outside": found.outside,
        "causes": [_cause(s) for s in ranked],
        "pairs": [_pair(p) for p in pairs],
        "groups": [{"causes": list(g.causes), "probability": g.probability} for g in found.groups],
        "margins": list(_margins(ranked)),
        "next_check": found.checks[0].text if found.checks else "",
        "left_out": list(found.left_out),
    }


def failed_row(name: str, hashes: Hashes, sentence: str, *, again: bool = False) -> Row:
    """The row of a run that could not be diagnosed; with `again` a resumed batch tries it once more."""
    sentence = sentence.encode(errors="backslashreplace").decode()  # a file's name need not be text
    told = {"outcome": FAILED, "sentence": sentence, "error": sentence}
    empty: Row = dict.fromkeys(("proposal", "engine_serial", "run", "cell", "limit_set", "next_check"), "")
    none: Row = {k: [] for k in ("causes", "pairs", "groups", "margins", "left_out")}
    key = {"key": "" if again else hashes.key, "healthy": None, "outside": None}
    return {**_rests_on(name, hashes), **told, **empty, **none, **key}


def _rests_on(name: str, hashes: Hashes) -> Row:
    return {
        "recording": name,
        "recording_sha256": hashes.recording,
        "run_sheet_sha256": hashes.run_sheet,
        **{f"{k}_sha256": hashes.shared.get(k, "") for k in SHARED},
        "program": PROGRAM,
    }


def _cause(s: Suspect) -> Row:
    size = s.magnitude
    own = {k: getattr(s, k) for k in ("id", "text", "kind", "module", "probability", "alone")}
    return {**own, "size": size.mean, "size_low": size.low, "size_high": size.high, "size_unit": size.unit}


def _pair(p: Pair) -> Row:
    return {"first": p.causes[0], "second": p.causes[1], "probability": p.probability}


def _margins(suspects: Iterable[Suspect]) -> Iterable[Row]:
    for s in suspects:
        for m in s.margins:
            own = {"cause": s.id, "rating": m.rating, "quantity": m.quantity, "limit": m.limit}
            yield {**own, "now": m.now.value, "after": m.after.value, "unit": m.now.unit}
