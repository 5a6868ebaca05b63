"""A diagnosis as JSON, and the schema it follows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from spoolwright.crafts.testcell.diagnosis.model import Diagnosis
from spoolwright.reports.jsonfile import json_text, record_schema, schema_text, write_text


def write_diagnosis_json(diagnosis: Diagnosis, path: Path) -> Path:
    """Write a diagnosis as JSON; it reads back with `Diagnosis.model_validate_json`."""
    return write_text(path, json_text(diagnosis))


def diagnosis_schema() -> dict[str, Any]:
    """JSON schema of a diagnosis."""
    return record_schema(Diagnosis, "Diagnosis of an engine from its test runs")


def diagnosis_schema_text() -> str:
    """The schema as it is published."""
    return schema_text(diagnosis_schema())
