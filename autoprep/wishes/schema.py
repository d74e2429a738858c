"""The JSON Schema of destinations.toml, for editors: `python -m autoprep.wishes.schema FILE` writes it."""

import json
import sys
from pathlib import Path

from autoprep.wishes.destinations import Preset


def destinations_schema() -> str:
    """The schema as JSON text (draft 2020-12): a table of tables, each a Preset."""
    preset = Preset.model_json_schema()
    preset.pop("title", None)
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Destinations",
        "description": "One table per destination; its name is the folder of its finished pictures.",
        "type": "object",
        "propertyNames": {"pattern": "^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$"},
        "additionalProperties": preset,
        "minProperties": 1,
    }
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(destinations_schema(), encoding="utf-8")
