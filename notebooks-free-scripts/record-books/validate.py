"""Checks book.toml files against the published JSON Schema: needs jsonschema (PyPI or Debian).

Usage: python validate.py ../../crates/records/schema/schema.json BOOK.toml..
"""

import json
import sys
import tomllib

import jsonschema

schema = json.load(open(sys.argv[1]))["book_toml"]
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
bad = 0
for path in sys.argv[2:]:
    # Dates of TOML are strings of JSON.
    book = json.loads(json.dumps(tomllib.load(open(path, "rb")), default=str))
    errors = list(validator.iter_errors(book))
    bad += bool(errors)
    print(path, "valid" if not errors else "")
    for error in errors:
        print(" ", "/".join(map(str, error.absolute_path)), error.message[:200])
sys.exit(bool(bad))
