"""Karat and fineness (B2): parts per thousand inside, written `ppt` in names."""

import re

from settle.reckoning.exact import Exact, decimal
from settle.reckoning.tables import FINENESSES, STANDARD_KARAT_MARKS

WHOLE_PPT = Exact(1000)
PURE_KARAT = Exact(24)
# A fineness or composition up to here is asked whether it was meant in percent (B2).
LOOKS_LIKE_PERCENT = Exact(101)
HALF_A_KARAT = WHOLE_PPT / PURE_KARAT / 2

# No part of a longer number, nor what a stone weighs.
_FINENESS_MARK = re.compile(r"(?<!\d)\d{3}(?!\d|\s?ct)", re.ASCII | re.IGNORECASE)
_KARAT_MARK = re.compile(
    r"(?<![\d.,/])(\d{1,2})\s?(?:k|kt|kp|karat|ct|carat)(?![a-z])", re.ASCII | re.IGNORECASE
)
_MARKS = {decimal(karat): decimal(mark) for karat, mark in STANDARD_KARAT_MARKS.items()}


def of_karat(karat: Exact, basis: str) -> Exact:
    """Fineness in parts per thousand of a karat, on the terms' `karat_basis` (B2)."""
    if basis == "standard" and karat in _MARKS:
        return _MARKS[karat]
    return WHOLE_PPT * karat / PURE_KARAT


def marks_in(stamped: str, metal: str) -> list[Exact]:
    """Parts per thousand that a stamp says, by the marks in it that the tables know; often none."""
    known = {f.fineness for f in FINENESSES if f.metal == metal}
    found = [decimal(mark) for mark in _FINENESS_MARK.findall(stamped) if mark in known]
    karats = _KARAT_MARK.findall(stamped) if metal == "gold" else []
    return found + [of_karat(decimal(k), "exact") for k in karats if k in STANDARD_KARAT_MARKS]
