"""Checks documents against their published schemas with the independent package jsonschema.

    python documents.py FOLDER

FOLDER holds NAME.schema.json and, for each, NAME.*.json documents. Every schema must be a valid one of draft 2020-12, every document
must keep its own, and one more key in any object with listed properties must be refused. Exits with a traceback at the first breach.
"""

import json
import sys
from pathlib import Path

import jsonschema


def objects(value, place=""):
    """Every object inside a document, with its place; the items of a list share one."""
    if isinstance(value, dict):
        yield place, value
        for key, inner in value.items():
            yield from objects(inner, f"{place}/{key}")
    elif isinstance(value, list):
        for inner in value:
            yield from objects(inner, f"{place}/*")


def check_closed(validator, document, name):
    """One object of each place and set of keys: the schema knows no others apart."""
    shapes = {(place, frozenset(found)): found for place, found in objects(document)}
    for (place, _), found in shapes.items():
        found["not_published"] = 1
        assert not validator.is_valid(document), f"{name}: {place or '/'} takes a key that is not published"
        del found["not_published"]


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
