"""A whole result as JSON, and the schema it follows."""

from __future__ import annotations

import hashlib
import json
from contextlib import suppress
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.model import Assessment
from spoolwright.crafts.typefile.model import Record
from spoolwright.errors import OutputError


def write_text(path: Path, text: str) -> Path:
    """Write a text file so that a crash leaves either the old file or the whole new one."""
    return write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> Path:
    """Write a file so that a crash leaves either the old file or the whole new one."""
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise OutputError(
            f"cannot write: {error.strerror}.", mend="Choose another place.", where=str(path)
        ) from error
    return path


def write_json(assessment: Assessment, path: Path) -> Path:
    """Write an assessment as JSON; it reads back with `Assessment.model_validate_json`."""
    return write_text(path, json_text(assessment))


def json_text(record: Record) -> str:
    """A result as it is written to a file."""
    return record.model_dump_json(indent=1) + "\n"


def result_hash(record: Record) -> str:
    """SHA-256 of the result's JSON file: print, page and file can be told to belong together."""
    return hashlib.sha256(json_text(record).encode()).hexdigest()


def schema() -> dict[str, Any]:
    """JSON schema of an assessment."""
    return record_schema(Assessment, "Assessment of an engine's test runs")


def record_schema(kind: type[Record], title: str) -> dict[str, Any]:
    """JSON schema of a kind of result (draft 2020-12)."""
    found = kind.model_json_schema(mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": title,
        **{k: v for k, v in found.items() if k != "title"},
    }


def schema_text(of: dict[str, Any] | None = None) -> str:
    """A schema as it is published; the assessment's if no other is given."""
    return json.dumps(of or schema(), indent=1, ensure_ascii=False) + "\n"
