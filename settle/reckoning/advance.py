"""How much may be advanced on a lot: a share of the least that its metal alone would pay (D4)."""

from dataclasses import replace

from settle.reckoning.charges import Quantities
from settle.reckoning.quote import Request, reckon
from settle.reckoning.recovered import expected_within
from settle.reckoning.settlement import Refined, lot_need
from settle.reckoning.statement import Basis, statement
from settle.reckoning.terms import Terms


def most_on_quote(request: Request) -> int:
    """Minor units: of the least net over the three cases, nothing poured and all metal sold."""
    least, _, _ = reckon(replace(request, wishes={})).net_range
    return _share(request.terms, least)


def most_on_assay(terms: Terms, refined: Refined) -> int:
    """Minor units: of what the assayed metal would pay, less the client's part of an umpire's fee."""
    needed = lot_need(terms, refined)
    recovered = {
        m: expected_within(terms, m, f, needed) for m, f in refined.fine_g.items() if m in terms.metals
    }
    quantities = Quantities(refined.gross_g, refined.melt_g, needed.weight_g, refined.articles)
    basis = Basis(terms, recovered, quantities, refined.prices, {}, fees_minor=refined.fees_minor)
    return _share(terms, statement(basis).net_minor)


def _share(terms: Terms, net_minor: int) -> int:
    # Cut down, not rounded: an advance is at most the share.
    return int(max(0, net_minor) * terms.advance_share // 1)
