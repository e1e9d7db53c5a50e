"""Rows that let anyone redo a figure.

A row says what was reckoned, by which rule, in words, from which inputs, to
which exact value, and what was printed of it. Figures are turned into text
only when the rows are asked for, so that reckoning without working stays quick.
"""

from dataclasses import dataclass

from settle.reckoning.exact import Exact, plain

Figure = Exact | int | str


@dataclass(frozen=True, slots=True)
class Row:
    """One figure: `exact` is the value before rounding, `rounded` what is printed, if rounded."""

    case: str
    what: str
    rule: str
    formula: str
    inputs: tuple[tuple[str, Figure], ...]
    exact: Figure
    rounded: str | None

    def as_json(self) -> dict[str, object]:
        """The row as the API and the papers print it; exact values that don't end are fractions."""
        row: dict[str, object] = {"case": self.case} if self.case else {}
        row |= {
            "what": self.what,
            "rule": self.rule,
            "formula": self.formula,
            "inputs": {name: _text(figure) for name, figure in self.inputs},
            "exact": _text(self.exact),
        }
        return row if self.rounded is None else row | {"rounded": self.rounded}


def _text(figure: Figure) -> str:
    return plain(figure) if isinstance(figure, Exact) else str(figure)


class Working:
    """Gathers rows; `Working(kept=False)` takes notes and keeps none."""

    def __init__(self, *, kept: bool = True, case: str = "", rows: list[Row] | None = None) -> None:
        self.kept = kept
        self.case = case
        self.rows: list[Row] = [] if rows is None else rows

    def of_case(self, case: str) -> "Working":
        """The same rows, for one case (C4)."""
        return Working(kept=self.kept, case=case, rows=self.rows)

    def note(
        self,
        what: str,
        rule: str,
        formula: str,
        exact: Figure,
        rounded: str | None = None,
        **inputs: Figure,
    ) -> None:
        """Leave one row. Input names are words with underscores; they are printed with spaces."""
        if self.kept:
            named = tuple((name.replace("_", " "), figure) for name, figure in inputs.items())
            self.rows.append(Row(self.case, what, rule, formula, named, exact, rounded))


SILENT = Working(kept=False)
