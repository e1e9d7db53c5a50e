"""The problems that a body can be told of by what it is made of: a weight has a unit, an item a fineness."""

from collections.abc import Iterator, Mapping
from typing import Any

Json = Mapping[str, Any]
# What any body may be told of, before anybody looks at what it means, and once it is read.
_OF_ANY = {
    *("unparsable-body", "duplicate-key", "nested-too-deep"),
    *("invalid-body", "missing", "unknown-field", "wrong-type"),
    *("not-a-decimal", "not-one-of", "out-of-range", "bad-text", "contradiction"),
}
_OF_SCHEMAS = {
    "Weight": {"ambiguous-unit", "unknown-unit", "weight-not-positive"},
    "Price": {"ambiguous-unit", "unknown-unit", "unknown-currency", "other-currency"},
    "Money": {"unknown-currency", "other-currency"},
    "Item": {
        *("karat-above-24", "fineness-above-1000", "two-finenesses", "no-fineness"),
        *("looks-like-percent", "deductions-reach-gross", "unknown-evidence", "unknown-metal"),
    },
    "Wishes": {"two-metals-cover", "two-top-ups", "too-many-bars", "unknown-metal"},
}
_OF_MEMBERS = {
    "unknown-scale": {"scale"},
    "price-missing": {"items", "prices"},
    "fineness-above-1000": {"fineness"},
    "unknown-metal": {"metal", "metals", "finenesses", "instructions", "prices"},
    "unknown-reference": {
        *("client", "quote", "lot", "lots", "batches", "bar", "bars", "terms", "default_terms", "moulds"),
        *("corrects", "held", "outturn"),
    },
}


def kinds_of_body(schema: Json, schemas: Json) -> set[str]:
    """The kinds of problem of a request body, `schemas` being those of the whole document."""
    found = set(_OF_ANY)
    for name, members in _parts(schema, schemas, set()):
        found |= _OF_SCHEMAS.get(name, set())
        found |= {kind for kind, named in _OF_MEMBERS.items() if named & members.keys()}
    return found


def _parts(said: Any, schemas: Json, been: set[str]) -> Iterator[tuple[str, Json]]:
    """Every object that a schema is made of, by its name ("" for one without), with its members."""
    if isinstance(said, list):
        for each in said:
            yield from _parts(each, schemas, been)
    elif isinstance(said, Mapping):
        name = str(said.get("$ref", "")).rpartition("/")[2]
        if name and name not in been:
            been.add(name)
            yield name, schemas[name].get("properties", {})
            yield from _parts(schemas[name], schemas, been)
        for each in said.values():
            yield from _parts(each, schemas, been)
