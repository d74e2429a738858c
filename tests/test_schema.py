"""The published schema is the one that the code obeys, and every key of it is explained."""

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from autoprep.wishes.schema import destinations_schema

CONFIG = Path(__file__).parent.parent / "config"


def test_the_published_schema_is_up_to_date() -> None:
    assert (CONFIG / "destinations.schema.json").read_text(encoding="utf-8") == destinations_schema()


def test_every_key_is_explained() -> None:
    preset = json.loads(destinations_schema())["additionalProperties"]
    assert [key for key, entry in preset["properties"].items() if not entry.get("description")] == []


def test_the_shipped_file_obeys_it_and_mistakes_do_not() -> None:
    """JSON Schema draft 2020-12, checked with the package jsonschema."""
    validator = jsonschema.Draft202012Validator(json.loads(destinations_schema()))
    shipped = tomllib.loads((CONFIG / "destinations.toml").read_text(encoding="utf-8"))
    validator.validate(json.loads(json.dumps(shipped, default=str)))
    assert all(table.get("checked") for table in shipped.values())
    for wrong in ({"a": {"long_side_px": "big"}}, {"a": {"colour": "srg"}}, {"a": {"qualty": 3}}):
        with pytest.raises(jsonschema.ValidationError):
            validator.validate(wrong)
