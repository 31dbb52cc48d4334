"""Checks documents against their published schemas with the independent package jsonschema.

    python documents.py FOLDER

FOLDER holds NAME.schema.json and, for each, NAME.*.json documents. Every schema must be a valid one of draft 2020-12, every document
must keep its own, and one more key in any object with listed properties must be refused. Exits with a traceback at the first breach.
"""

import copy
import json
import sys
from pathlib import Path

import jsonschema


def objects(value):
    """Every object inside a document."""
    if isinstance(value, dict):
        yield value
        for inner in value.values():
            yield from objects(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from objects(inner)


def check_closed(validator, document, name):
    for number, _ in enumerate(objects(document)):
        changed = copy.deepcopy(document)
        list(objects(changed))[number]["not_published"] = 1
        assert not validator.is_valid(changed), f"{name}: object {number} takes a key that is not published"


def main():
    checked = 0
    for path in sorted(Path(sys.argv[1]).glob("*.schema.json")):
        schema = json.loads(path.read_text(encoding="utf-8"))
        jsonschema.Draft202012Validator.check_schema(schema)
        validator = jsonschema.Draft202012Validator(schema)
        name = path.name.removesuffix(".schema.json")
        documents = [p for p in sorted(path.parent.glob(f"{name}.*.json")) if p != path]
        assert documents, f"no document was given for {name}"
        for file in documents:
            document = json.loads(file.read_text(encoding="utf-8"))
            validator.validate(document)
            # An outcome names figures, details and versions by keys of its own.
            if name != "outcome":
                check_closed(validator, document, file.name)
            checked += 1
    print(f"{checked} documents hold")


if __name__ == "__main__":
    main()
