"""Planted faults: what a careless engineer could write, rule by rule."""

from dataclasses import dataclass

from . import of_accounts, of_items, of_settlements

# The rules that the reckoning is held to, one by one.
RULES = (
    *("A1", "A2", "A3", "A4", "A5", "A6", "A7", "A8"),
    *("B1", "B2", "B3", "B4", "B5", "B6"),
    *("C1", "C2", "C3", "C4"),
    *("D1", "D2", "D3", "D5"),
    *("E1", "E2", "E3", "E4"),
    *("F1", "F2", "F3", "F4", "F6"),
    *("G1", "G2", "G3"),
    *("H1", "H2", "H3", "H4", "H6", "H7", "H8"),
    "J1",
)


@dataclass(frozen=True)
class Planted:
    """A fault: the rule it breaks, the module of the reckoning, the text that stands there
    exactly once, what is put in its place, and what is wrong with that."""

    rule: str
    module: str
    source: str
    instead: str
    fault: str

    def __str__(self) -> str:
        return f"{self.rule} {self.module}: {self.fault}"


FAULTS = [Planted(*row) for row in (*of_items.FAULTS, *of_accounts.FAULTS, *of_settlements.FAULTS)]
