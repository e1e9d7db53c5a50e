"""From marshmallow's nested messages to faults with JSON Pointers; and two readers' faults made one list."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from marshmallow import ValidationError
from marshmallow.exceptions import SCHEMA

from settle.reckoning.problems import Fault, at


@dataclass(frozen=True, slots=True)
class Wrong:
    """A fault that doesn't know yet where it stands: what a field of ours raises."""

    kind: str
    wrong: str
    right: str


def wrong(kind: str, what: str, right: str) -> ValidationError:
    """The error that a field raises."""
    return ValidationError([Wrong(kind, what, right)])


# What marshmallow's own fields and validators say, for schemas that use them.
_SAID = (
    ("Missing data", Wrong("missing", "missing", "a value")),
    ("Unknown field", Wrong("unknown-field", "unknown", "leave it out")),
    ("Must be one of", Wrong("not-one-of", "can't stand here", "")),
    ("Longer than", Wrong("bad-text", "too long", "")),
    ("Shorter than", Wrong("bad-text", "too short", "")),
    ("Length must", Wrong("out-of-range", "of the wrong length", "")),
    ("Must be", Wrong("out-of-range", "out of its range", "")),
)


def faults_of(messages: Any, pointer: str = "") -> list[Fault]:
    """The messages of a `ValidationError`, flat, each with its JSON Pointer below `pointer`."""
    return list(_flat(messages, pointer))


def merge(shape: Iterable[Fault], meaning: Iterable[Fault]) -> list[Fault]:
    """The faults of shape and of meaning, one at a pointer: the more telling one.

    That is the reckoning's, which knows what the field is for, unless all that
    it can say is that something is missing. A text that can't be text at all
    goes before everything. Below a value of the wrong type nothing is missing.
    """
    meant = list(meaning)
    all_found, of_meaning = [*shape, *meant], set(meant)
    best: dict[str, Fault] = {}
    for fault in sorted(all_found, key=lambda f: _weight(f, f in of_meaning), reverse=True):
        best.setdefault(fault.pointer, fault)
    mistyped = {f.pointer for f in best.values() if f.kind == "wrong-type"}
    order = dict.fromkeys(f.pointer for f in all_found)
    return [best[p] for p in order if not (best[p].kind == "missing" and _is_below(p, mistyped))]


def _weight(fault: Fault, is_meant: bool) -> int:
    if fault.kind == "bad-text":
        return 3
    if fault.kind == "missing":
        return 0
    return 2 if is_meant else 1


def _is_below(pointer: str, others: set[str]) -> bool:
    steps = pointer.split("/")
    return any("/".join(steps[:depth]) in others for depth in range(1, len(steps)))


def _flat(messages: Any, pointer: str) -> Iterator[Fault]:
    if isinstance(messages, Mapping):
        for step, inner in messages.items():
            yield from _flat(inner, pointer if step == SCHEMA else at(pointer, step))
    elif isinstance(messages, list | tuple):
        for inner in messages:
            yield from _flat(inner, pointer)
    else:
        said = messages if isinstance(messages, Wrong) else _understood(str(messages))
        yield Fault(said.kind, pointer, said.wrong, said.right)


def _understood(text: str) -> Wrong:
    for start, meant in _SAID:
        if text.startswith(start):
            return Wrong(meant.kind, meant.wrong, meant.right or text)
    return Wrong("wrong-type", "of the wrong type or form", text)
