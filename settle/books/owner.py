"""An owner's word, with the reason; and what wants a scope beyond that of its call."""

from settle.books import records
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused
from settle.reckoning.reading import Reader

OWNERS_WORD = "owners_word"


def word(work: Work, r: Reader) -> str | None:
    """The reason of an owner's override, if one is given; `forbidden` for a key without the scope."""
    if not r.has("override"):
        return None
    reason = r.object("override").text("reason")
    refuse_others(work, "/override", "an override is an owner's word")
    return reason


def refuse_others(work: Work, pointer: str, wrong: str) -> None:
    """Refuse a key that isn't an owner's."""
    if "owner" not in work.actor.scopes:
        raise Refused(Fault("forbidden", pointer, wrong, "a key with owner"))


def refuse_without(work: Work, scopes: frozenset[str], pointer: str, wrong: str) -> None:
    """Refuse a key that has neither one of the scopes nor owner."""
    if not work.actor.scopes & {*scopes, "owner"}:
        raise Refused(Fault("forbidden", pointer, wrong, f"a key with {' or '.join(sorted(scopes))}"))


def keep(work: Work, batch: str, lots: list[str], reason: str) -> None:
    """Keep an owner's word on lots that go into a batch."""
    records.add(work, batch, OWNERS_WORD, {"lots": lots, "reason": reason})


def said_of(work: Work, batch: str, lot: str) -> bool:
    """Whether an owner let a lot go into its batch."""
    return any(lot in r.data["lots"] for r in records.in_force(work, batch, OWNERS_WORD))
