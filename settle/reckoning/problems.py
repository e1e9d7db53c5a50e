"""Every named refusal: what was wrong, in which field, and what would be right.

A refusal carries all faults of one request at once. `KINDS` is the catalogue
that the API publishes; a fault of a kind that is not in it cannot be made.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of refusal: its stable name, its HTTP status and its title."""

    name: str
    status: int
    title: str


KINDS = {
    kind.name: kind
    for kind in (
        # the request itself
        Kind("unparsable-body", 400, "The body is not JSON that can be read"),
        Kind("duplicate-key", 400, "The same key stands twice in one JSON object"),
        Kind("nested-too-deep", 400, "The body is nested too deep"),
        Kind("idempotency-key-missing", 400, "This call needs an Idempotency-Key"),
        Kind("bad-request", 400, "The request can't be understood"),
        Kind("unauthorized", 401, "No valid access key"),
        Kind("forbidden", 403, "The key's scopes don't cover this"),
        Kind("not-found", 404, "There is nothing under this address"),
        Kind("method-not-allowed", 405, "The address doesn't take this method"),
        Kind("not-acceptable", 406, "No representation that the client accepts"),
        Kind("request-under-way", 409, "The same request is still under way"),
        Kind("changed-since-seen", 412, "It has changed since it was seen"),
        Kind("body-too-large", 413, "The body is too large"),
        Kind("unsupported-media-type", 415, "The body is of a media type that can't be read here"),
        Kind("precondition-required", 428, "This call needs If-Match"),
        Kind("too-many-requests", 429, "Too many requests"),
        Kind("internal-error", 500, "An error of ours"),
        Kind("busy", 503, "The books are busy"),
        # a body with faults
        Kind("invalid-body", 422, "The body has faults"),
        Kind("idempotency-key-reused", 422, "The Idempotency-Key was used for another body"),
        Kind("missing", 422, "A required field is missing"),
        Kind("unknown-field", 422, "A field that nobody knows"),
        Kind("wrong-type", 422, "A value of the wrong type"),
        Kind("not-a-decimal", 422, "Not a decimal string"),
        Kind("not-one-of", 422, "Not one of the words that may stand here"),
        Kind("out-of-range", 422, "A figure out of its range"),
        Kind("bad-text", 422, "A text that can't stand here"),
        Kind("ambiguous-unit", 422, "A unit that means more than one weight"),
        Kind("unknown-unit", 422, "A unit that nobody knows"),
        Kind("unknown-currency", 422, "A currency that is not in ISO 4217"),
        Kind("other-currency", 422, "A price in another currency than the terms"),
        Kind("weight-not-positive", 422, "A weight that is not above zero"),
        Kind("deductions-reach-gross", 422, "Deductions that reach the gross weight"),
        Kind("karat-above-24", 422, "Karat above 24"),
        Kind("fineness-above-1000", 422, "Fineness above 1000 parts per thousand"),
        Kind("two-finenesses", 422, "More than one way of giving the fineness"),
        Kind("no-fineness", 422, "No fineness, and evidence that is to be reckoned"),
        Kind("looks-like-percent", 422, "A fineness that looks like percent"),
        Kind("unknown-evidence", 422, "Evidence that the terms don't know"),
        Kind("unknown-metal", 422, "A metal that is not accounted for"),
        Kind("unknown-scale", 422, "A scale that is not known"),
        Kind("two-metals-cover", 422, "Two metals are to cover the charges"),
        Kind("two-top-ups", 422, "More than one line to top up for one metal"),
        Kind("too-many-bars", 422, "More bars than one account can hold"),
        Kind("contradiction", 422, "Fields that contradict each other"),
        Kind("price-missing", 422, "No price for a metal that must be priced"),
        Kind("bar-under-nominal", 422, "A bar under its nominal weight"),
        Kind("bar-over-pour", 422, "A bar too far above its nominal weight"),
        Kind("bar-below-promise", 422, "A bar below the fineness that was promised"),
        Kind("bar-not-covered", 422, "A bar that the lot doesn't cover"),
        Kind("bar-weighs-otherwise", 422, "A bar weighs otherwise than when it was poured"),
        Kind("mould-unreachable", 422, "A mould that no reading of the scale can satisfy"),
        Kind("unknown-reference", 422, "It names something that is not in the books"),
        Kind("already-exists", 409, "There is one of that name already"),
        # the state of things
        Kind("wrong-state", 409, "Not possible in this state"),
        Kind("terms-missing", 409, "There are no terms to reckon with"),
        Kind("price-too-old", 409, "The price is older than the terms allow"),
        Kind("price-moved", 409, "The price has moved further than the quote allows"),
        Kind("quote-expired", 409, "The quote has expired"),
        Kind("not-accepted", 409, "The client's positive word is missing"),
        Kind("holding-period", 409, "The holding period is not over"),
        Kind("metal-not-closed", 409, "The metal is not closed yet"),
        Kind("kept-apart", 409, "This lot must be refined apart"),
        Kind("something-rests-on-it", 409, "Something posted rests on it"),
        Kind("beyond-balance", 409, "What is missing is more than can be explained"),
        Kind("not-in-stock", 409, "The house does not have it"),
        Kind("period-locked", 409, "The month is locked"),
        Kind("must-be-kept", 409, "The person's data must still be kept"),
        Kind("frozen", 409, "It is frozen by order"),
        Kind("more-than-open", 409, "More than is open"),
        Kind("more-than-advance", 409, "More than may be advanced"),
        Kind("not-on-account", 409, "The client's account does not hold as much"),
        Kind("net-unpaid", 409, "What the client owes is not paid"),
        Kind("last-owner", 409, "The last owner key can't be removed"),
    )
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: its kind, where (JSON Pointer, RFC 6901), what is wrong, what would be right."""

    kind: str
    pointer: str
    wrong: str
    right: str

    def __post_init__(self) -> None:
        """Refuse a kind that the catalogue doesn't hold: a slip of ours, not the client's."""
        if self.kind not in KINDS:
            raise KeyError(self.kind)


class Refused(Exception):  # noqa: N818 - the trade says refused, not error
    """A request was refused, with every fault that was found in it."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__("; ".join(f"{f.pointer or '/'}: {f.wrong}" for f in faults))
        self.faults = faults


class Faults:
    """Gathers faults, so that a client hears of all of them at once."""

    def __init__(self) -> None:
        self.found: list[Fault] = []
        # Looked up, never searched: a body may have thousands of faults.
        self._told: set[tuple[str, str]] = set()
        self._faulty: set[str] = set()

    def add(self, kind: str, pointer: str, wrong: str, right: str) -> None:
        """Add a fault; the same kind at the same place is told once."""
        if (kind, pointer) not in self._told:
            self.extend([Fault(kind, pointer, wrong, right)])

    def stands_at(self, pointer: str) -> bool:
        """Whether anything at a place, or below it, was found faulty."""
        return pointer in self._faulty

    def extend(self, faults: Iterable[Fault]) -> None:
        for fault in faults:
            self.found.append(fault)
            self._told.add((fault.kind, fault.pointer))
            steps = fault.pointer.split("/")
            self._faulty.update("/".join(steps[:depth]) for depth in range(1, len(steps) + 1))

    def refuse_if_any(self) -> None:
        """Raise `Refused` with all that was gathered, if anything was."""
        if self.found:
            raise Refused(*self.found)


class _NoFaults(Faults):
    def extend(self, faults: Iterable[Fault]) -> None:
        for fault in faults:
            raise ValueError(f"{fault.pointer or 'it'}: {fault.wrong}; it should be {fault.right}")


# For what was looked at when it came in and is read again: the first fault is a `ValueError`, and
# nothing stands in for what can't be read.
NO_FAULTS = _NoFaults()


def at(pointer: str, *steps: str | int) -> str:
    """The JSON Pointer (RFC 6901) some steps below another one."""
    return pointer + "".join("/" + str(s).replace("~", "~0").replace("/", "~1") for s in steps)
