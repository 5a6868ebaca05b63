"""The whole result as JSON, and the schema it follows."""

from __future__ import annotations

import hashlib
import json
from contextlib import suppress
from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.model import Assessment
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


def json_text(assessment: Assessment) -> str:
    """An assessment as it is written to a file."""
    return assessment.model_dump_json(indent=1) + "\n"


def result_hash(assessment: Assessment) -> str:
    """SHA-256 of the result's JSON file: print, page and file can be told to belong together."""
    return hashlib.sha256(json_text(assessment).encode()).hexdigest()


def schema() -> dict[str, Any]:
    """JSON schema of an assessment (draft 2020-12)."""
    found = Assessment.model_json_schema(mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Assessment of an engine's test runs",
        **{k: v for k, v in found.items() if k != "title"},
    }


def schema_text() -> str:
    """The schema as it is published."""
    return json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"
