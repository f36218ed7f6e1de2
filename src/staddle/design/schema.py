"""The JSON Schema of design.yaml, made from the models, so that editors complete and check while one types.

The reader is stricter: what must agree between fields (checks.py) cannot be said in a schema.

Source: JSON Schema 2020-12.
"""

import json
from typing import Final

from staddle.design.model import Design

__all__ = ["SCHEMA_FILE", "design_schema", "schema_text"]

SCHEMA_FILE: Final = "design.schema.json"
_DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"


def design_schema() -> dict[str, object]:
    """The schema as plain values, with a description at every key."""
    schema: dict[str, object] = Design.model_json_schema(mode="validation")
    return {"$schema": _DIALECT, **schema, "title": "design.yaml of a job folder"}


def schema_text() -> str:
    """The schema as indented JSON with a last newline, to be written beside design.yaml as design.schema.json."""
    return json.dumps(design_schema(), indent=2, ensure_ascii=False) + "\n"
