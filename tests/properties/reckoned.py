"""Random JSON through the code under test, and its figures in the oracle's words."""

from fractions import Fraction
from typing import Any

from settle.reckoning.problems import Faults
from settle.reckoning.quote import Quoted, read_request, reckon
from settle.reckoning.statement import Statement
from settle.reckoning.terms import CASES, Terms, read_terms
from settle.reckoning.working import SILENT, Working


def quoted(terms: dict[str, Any] | Terms, request: dict[str, Any], working: Working = SILENT) -> Quoted:
    """The answer to a request, read and reckoned as the API would."""
    of = terms if isinstance(terms, Terms) else read_terms(terms)
    faults = Faults()
    asked = read_request(request, of, {}, {}, faults)
    faults.refuse_if_any()
    return reckon(asked, working)


def grams(mg: int) -> Fraction:
    return Fraction(mg, 1000)


def figures(of: Statement) -> dict[str, Any]:
    """A statement as the oracle gives it: grams as fractions, money as whole minor units."""
    return {
        "metals": {
            m: {
                "accountable": grams(a.accountable_mg),
                "bars": grams(a.placed.total_mg),
                "sold": grams(a.sold_mg),
                "shot": grams(a.shot_mg),
                "metal_account": grams(a.account_mg),
                "top_up": grams(a.placed.top_up_mg),
                "drillings_back": grams(a.drillings_back_mg),
            }
            for m, a in of.metals.items()
        },
        "bar_counts": {m: list(a.placed.counts) for m, a in of.metals.items()},
        "payouts": {m: a.payout_minor for m, a in of.metals.items() if a.sold_mg},
        "top_ups": {m: a.top_up_minor for m, a in of.metals.items() if a.placed.top_up_mg},
        "charges": {line.charge.name: line.amount_minor for line in of.charges},
        "taxes": {line.tax.code: line.amount_minor for line in of.taxes},
        "advances": of.basis.advances_minor,
        "fees": of.basis.fees_minor,
        "net": of.net_minor,
    }


def cases(of: Quoted) -> dict[str, Any]:
    """The three cases, with the band of each metal, in the oracle's words."""
    answer = {}
    for case in CASES:
        answer[case] = figures(of.cases[case])
        for m, band in of.bands.items():
            answer[case]["metals"][m] |= {
                "fine": band.fine_g[case],
                "u": band.fine_u_g,
                "R": band.recovered_g[case],
                "u_R": band.recovered_u_g,
            }
    return answer
