"""Holds profiles against the JSON Schema, by the jsonschema library and the standard TOML reader."""

import json
import sys
import tomllib

from jsonschema import Draft202012Validator

given = json.load(sys.stdin)
schema = json.loads(given["schema"])
Draft202012Validator.check_schema(schema)
validator = Draft202012Validator(schema)
json.dump([validator.is_valid(tomllib.loads(text)) for text in given["profiles"]], sys.stdout)
