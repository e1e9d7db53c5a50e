"""What a stated fineness rests on: the method of its assay, and the least u that it may claim (A6).

Finenesses and uncertainties are parts per thousand; every u is a standard one.
"""

from collections.abc import Iterable, Mapping

from settle.reckoning.bars import stated_fineness
from settle.reckoning.exact import ZERO, Exact, plain
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.reading import Reader
from settle.reckoning.terms import ASSAY_METHODS, Terms

FIRE_ASSAY, DIFFERENCE = "fire_assay", "difference"
# What an assay says of how it was made, kept with what is stated.
OF_ASSAY = ("method", "report")


def read_method(r: Reader) -> str:
    """The method of an assay; `difference` rests on an outside laboratory, and names its report."""
    method = r.word("method", ASSAY_METHODS)
    if method == DIFFERENCE and not r.has("report"):
        r.missing("report", "the number of the laboratory's report")
    return method


def look_at_proof(r: Reader, u_ppt: Exact, stated_under: Iterable[Terms]) -> None:
    """Leave a fault where a fineness can't be stated on an assay: it names no method, or claims a smaller
    u than terms that it is stated under let its method claim (A6). A method that they don't name is free."""
    method = read_method(r)
    field = "expanded_u" if r.has("expanded_u") else "u"
    least = max((terms.least_u_ppt.get(method, ZERO) for terms in stated_under), default=ZERO)
    unread = r.absent or any(r.faults.stands_at(r.at(name)) for name in ("method", field))
    if u_ppt < least and not unread:
        wrong = f"{plain(u_ppt)} ‰ is less than these terms let {method} claim"
        r.fault(field, "out-of-range", wrong, f"a standard uncertainty of {plain(least)} ‰ or more")


def least_claimed(terms: Terms, method: str | None, u_ppt: Exact) -> Exact:
    """The u that a fineness is stated with: no less than the terms let its method claim (A6)."""
    return max(u_ppt, terms.least_u_ppt.get(method or "", ZERO))


def most_stated(terms: Terms) -> Mapping[str, Exact]:
    """By each method that the terms name, the highest fineness that it can state: that of pure metal."""
    return {method: stated_fineness(terms, WHOLE_PPT, u) for method, u in terms.least_u_ppt.items()}
