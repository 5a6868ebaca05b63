"""The published JSON schema of a type file, for editors and other programs."""

from __future__ import annotations

import json
from typing import Any

from spoolwright.crafts.typefile.model import TypeFile


def schema() -> dict[str, Any]:
    """JSON schema (draft 2020-12) of a type file.

    It tells the shape of every table. What the tables say of one another only `spoolwright type check` tells.
    """
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Spoolwright type file"}
    return {**TypeFile.model_json_schema(mode="validation"), **head}


def schema_text() -> str:
    """The schema as it is published."""
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"
