"""Karat and fineness (B2): parts per thousand inside, written `ppt` in names."""

from settle.reckoning.exact import Exact, decimal
from settle.reckoning.tables import STANDARD_KARAT_MARKS

WHOLE_PPT = Exact(1000)
PURE_KARAT = Exact(24)
# A composition up to here is asked whether it was meant in percent (B2).
LOOKS_LIKE_PERCENT = Exact(101)

_MARKS = {decimal(karat): decimal(mark) for karat, mark in STANDARD_KARAT_MARKS.items()}


def of_karat(karat: Exact, basis: str) -> Exact:
    """Fineness in parts per thousand of a karat, on the terms' `karat_basis` (B2)."""
    if basis == "standard" and karat in _MARKS:
        return _MARKS[karat]
    return WHOLE_PPT * karat / PURE_KARAT
