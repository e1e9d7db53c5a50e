"""What the reader must be told, and whose rule it is. No notice is advice: each defers."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from settle.reckoning.bars import Wishes
from settle.reckoning.due import Due
from settle.reckoning.exact import Exact, fixed, plain, shown
from settle.reckoning.item import Item, Scale
from settle.reckoning.money import PLACES, Price, amount, minor_units
from settle.reckoning.price import Prices
from settle.reckoning.proof import DIFFERENCE, FIRE_ASSAY, most_stated
from settle.reckoning.quote import Quoted, Request
from settle.reckoning.settlement import Refined
from settle.reckoning.terms import Limit, Terms

DEFERS = "Local rules and licensed practice decide."
COMMON = "common practice"
OURS = "arithmetic of this account"
SHOP = "terms of the shop"
LINKED = "linked-cash"

# A fineness of 995 parts per thousand is where several tax laws begin to treat gold differently.
_NEAR_995 = (Exact(994), Exact(996))
# Methods of assay in words; the others are words already.
_METHODS = {
    "fire_assay": "fire assay",
    "xrf": "XRF",
    "icp": "ICP",
    DIFFERENCE: "difference (an outside laboratory's report)",
    "other": "another method",
}
# A figure that is twice, or half, of what it was is looked at again.
JUMP = 2


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing to be told: a stable code, a text that defers, and whose rule it is."""

    code: str
    text: str
    source: str

    def as_json(self) -> dict[str, str]:
        return {"code": self.code, "text": f"{self.text} {DEFERS}", "source": self.source}


ACIDS = Notice(
    "acids-and-fumes",
    "Nitric acid, aqua regia and their brown fumes burn skin, eyes and lungs. Work under extraction, "
    "with goggles, gloves and apron, add acid to water, keep a neutraliser at hand. Never bring ammonia "
    "near solutions of silver or gold: what dries may explode.",
    COMMON + "; the safety data sheets of the acids",
)
HOT_METAL = Notice(
    "hot-metal",
    "Molten metal in a damp or cold mould spits. Warm and dry the mould, wear face shield, gloves and "
    "covered shoes.",
    COMMON,
)


def of_quote(quoted: Quoted) -> list[Notice]:
    """Notices of an unmelted lot; charges above the value of the metal come first of all (F6)."""
    found = [
        *_worth_nothing(quoted),
        *_bars_not_covered(quoted),
        *_of_items(quoted.request),
        *_indicative(quoted),
        *of_wishes(quoted.request.terms, quoted.request.wishes),
        *_proof(quoted.request.terms, quoted.request.wishes),
        *_tax_assumed(quoted.request.terms),
        *_holding(quoted.request.terms),
        *(of_money(quoted.request.terms, max(map(abs, quoted.net_range))) if quoted.is_valued else ()),
    ]
    if quoted.need.weight_g:
        found.append(ACIDS)
    if any(w.lines for w in quoted.request.wishes.values()):
        found.append(HOT_METAL)
    return found


def _worth_nothing(quoted: Quoted) -> Iterable[Notice]:
    """That nothing can be valued yet, and what happens next; or that refining takes more than it brings."""
    terms, likely = quoted.request.terms, quoted.cases["likely"]
    if not quoted.is_valued:
        yield Notice("nothing-valued", _why_nothing(quoted), SHOP)
    elif quoted.worth_refining is False:
        paid = amount(likely.charges_minor + likely.tax_minor, terms.currency)
        text = f"Charges and tax, {paid} {terms.currency}, take up all that the metal is worth."
        yield Notice("charges-above-value", text, OURS)
    if quoted.is_valued and quoted.unpriced:
        text = f"There is no price of {', '.join(quoted.unpriced)}: its worth is in no figure here."
        yield Notice("no-price", text, OURS)


def _why_nothing(quoted: Quoted) -> str:
    """What is on assay only may come to something; a metal that the terms don't account for never will."""
    terms = quoted.request.terms
    if all(item.holds for item in quoted.request.items):
        return f"Under these terms nothing is paid for {' and '.join(sorted(quoted.contents))}."
    text = "Nothing here can be valued before it is melted and assayed; the account follows the assay."
    return text + (" Money may be advanced on it." if terms.advance_share else "")


def _bars_not_covered(quoted: Quoted) -> Iterable[Notice]:
    """Of each numbered line what isn't covered, in low and in likely (E4)."""
    for metal, wishes in quoted.request.wishes.items():
        if metal not in quoted.bands:
            continue
        low, likely = (quoted.cases[case].metals[metal].placed.counts for case in ("low", "likely"))
        for i, line in enumerate(wishes.lines):
            asked = line.count if isinstance(line.count, int) else likely[i]
            if low[i] < asked or likely[i] < asked:
                text = f"Of {asked} {metal} bars in line {i + 1}, {low[i]} are covered in the low case"
                text += f" and {likely[i]} in the likely one." if likely[i] < asked else "."
                yield Notice("bars-not-covered", text, OURS)


def _of_items(request: Request) -> Iterable[Notice]:
    unread = [i for i in request.items if not i.holds]
    if unread:
        names = ", ".join(i.description or "an item" for i in unread)
        text = f"Listed and weighed, on assay only, nothing reckoned yet: {names}."
        yield Notice("on-assay-only", text, SHOP)
    metals = {h.metal for i in request.items for h in i.holds if h.likely_ppt}
    for metal in sorted(metals - set(request.terms.metals)):
        yield Notice("not-accounted-for", f"The terms don't account for {metal}; it is listed only.", SHOP)
    platinum = sorted(metals & {"platinum", "palladium"})
    if platinum:
        text = (
            f"{' and '.join(platinum).capitalize()} found: the lot is refined alone unless an owner says "
            "otherwise, and its silver is credited by an assay only."
        )
        yield Notice("platinum-metals", text, COMMON)
    if any(i.evidence.method == "mark" for i in request.items):
        text = (
            "A mark is a minimum in some laws and tolerated within limits in others; a stamp is a record, "
            "not a measurement."
        )
        yield Notice(
            "mark-tolerance", text, "ISO 9202 principle; 15 U.S.C. 295, 296; UK Hallmarking Act 1973"
        )


def _indicative(quoted: Quoted) -> Iterable[Notice]:
    if any(content.indicative for content in quoted.contents.values()):
        text = "Silver guessed from the colour of the alloy is indicative; it is credited by an assay only."
        yield Notice("silver-indicative", text, "published alloys; JCGM 100, 4.3.7 for its uncertainty")


def of_wishes(terms: Terms, wishes: Mapping[str, Wishes]) -> list[Notice]:
    """Promises that can't be stated, and finenesses near 995 (A6)."""
    found = []
    steps = terms.fineness_steps_ppt
    for metal, wish in wishes.items():
        for line in wish.lines:
            promised = plain(line.fineness_ppt)
            if steps and line.fineness_ppt > steps[-1]:
                text = (
                    f"A {metal} bar of {promised} ‰ is promised; the house states {plain(steps[-1])} at most."
                )
                found.append(Notice("promise-unreachable", text, SHOP))
            if metal == "gold" and _NEAR_995[0] <= line.fineness_ppt <= _NEAR_995[1]:
                text = f"{promised} ‰ lies near 995 ‰, where some tax laws begin to treat gold differently."
                found.append(
                    Notice("fineness-near-995", text, "for instance Directive 2006/112/EC, art. 344")
                )
    return found


def _proof(terms: Terms, wishes: Mapping[str, Wishes]) -> Iterable[Notice]:
    """Which proof a promised fineness takes; what lies beyond the house's steps is told of by `of_wishes`."""
    steps = terms.fineness_steps_ppt
    for metal, wish in wishes.items():
        for promised in dict.fromkeys(line.fineness_ppt for line in wish.lines):
            if not steps or promised <= steps[-1]:
                yield from _proof_of(f"A {metal} bar of {plain(promised)} ‰", promised, most_stated(terms))


def _proof_of(bar: str, promised: Exact, at_best: Mapping[str, Exact]) -> Iterable[Notice]:
    """Told where a fire assay, the usual proof of a bar (common practice), is not enough (A6)."""
    able = [method for method, most in at_best.items() if most >= promised]
    unable = {method: most for method, most in at_best.items() if most < promised}
    if FIRE_ASSAY in able or not unable:
        return
    if able:
        names = " or ".join(_METHODS.get(method, method) for method in able)
        yield Notice("proof-needed", f"{bar} takes proof by {names}; {_at_best(unable)}.", SHOP)
    else:
        text = f"{bar} is promised, and no method of these terms proves it; {_at_best(unable)}."
        yield Notice("promise-unreachable", text, SHOP)


def _at_best(most_by_method: Mapping[str, Exact]) -> str:
    method = max(most_by_method, key=lambda m: most_by_method[m])
    return f"by {_METHODS.get(method, method)} {plain(most_by_method[method])} ‰ at most is stated"


def of_terms(terms: Terms) -> list[Notice]:
    """Terms whose highest fineness none of the methods that they name can prove (A6)."""
    steps, at_best = terms.fineness_steps_ppt, most_stated(terms)
    if not steps or not at_best or max(at_best.values()) >= steps[-1]:
        return []
    text = f"These terms state up to {plain(steps[-1])} ‰, and no method of theirs proves it"
    return [Notice("promise-unreachable", f"{text}; {_at_best(at_best)}.", SHOP)]


def of_settlement(refined: Refined, of: Due) -> list[Notice]:
    """Notices of a lot's final account; what the house gives away in bars comes first of all (E4)."""
    terms = of.whole.basis.terms
    return [*_gifts(of), *of_wishes(terms, refined.wishes), *of_money(terms, abs(of.net_minor))]


def _gifts(of: Due) -> Iterable[Notice]:
    terms, prices = of.whole.basis.terms, of.whole.basis.prices
    answered = " That is beyond one over-pour: an owner answers for it, or a bar is withdrawn."
    for metal, account in of.metals.items():
        too_much_mg = account.placed.given_too_much_mg(terms)
        if gift_mg := max(too_much_mg, account.placed.excess_gift_mg):
            text = f"Bars of {metal} hold {fixed(gift_mg, 3)} g more than the client is due"
            text += f": the house gives it away{_worth(prices, metal, gift_mg, terms)}."
            yield Notice("bars-above-account", text + (answered if too_much_mg else ""), OURS)
        if below_mg := account.placed.below_too_much_mg(terms):
            text = f"Bars of {metal} state {fixed(below_mg, 3)} g less than the client is due"
            text += f": he loses it{_worth(prices, metal, below_mg, terms)}."
            yield Notice("bars-below-account", text + answered, OURS)


def _worth(prices: Prices, metal: str, weight_mg: int, terms: Terms) -> str:
    if metal not in prices:
        return ""
    minor = minor_units(prices[metal].value(weight_mg), terms.currency)
    return f", worth {amount(minor, terms.currency)} {terms.currency}"


def _tax_assumed(terms: Terms) -> Iterable[Notice]:
    untaxed = [c.name for c in terms.charges if c.tax is None]
    if untaxed:
        text = f"No tax class is given for: {', '.join(untaxed)}; no tax is reckoned on it."
        yield Notice("tax-class-assumed", text, SHOP)


def _holding(terms: Terms) -> Iterable[Notice]:
    if terms.holding_period:
        yield Notice("holding-period", "Nothing is melted before the holding period is over.", SHOP)


def of_money(terms: Terms, minor: int) -> list[Notice]:
    """Limits that the terms name, reached by an amount of money."""
    places = PLACES[terms.currency]
    return [limit_notice(limit) for limit in terms.limits if Exact(minor, 10**places) >= limit.amount]


def limit_notice(limit: Limit) -> Notice:
    return Notice("money-limit", limit.text, limit.source)


def of_load(items: Iterable[Item], scales: Iterable[Scale | None]) -> list[Notice]:
    """Readings below the minimum load of the scale they were made on (OIML R 76-1)."""
    return [
        light_load(scale, item.gross_g)
        for item, scale in zip(items, scales, strict=True)
        if scale is not None and item.gross_g < scale.min_g
    ]


def light_load(scale: Scale, weight_g: Exact) -> Notice:
    text = (
        f"{shown(weight_g, 3)} g is below the minimum load of {scale.name}, {plain(scale.min_g)} g: "
        "the reading may be off by more than its division."
    )
    return Notice("below-minimum-load", text, "OIML R 76-1")


def old_price(metal: str, entered_at: str) -> Notice:
    """A price in force that is older than the terms allow a quote to rest on."""
    text = f"The price of {metal} was entered at {entered_at}: older than the terms allow for a quote."
    return Notice("price-old", text, SHOP)


def heavier_than_received() -> Notice:
    return Notice(
        "melt-above-gross",
        "The lot melted to more than its gross weight as received: weigh again, and look at both entries.",
        COMMON,
    )


def of_verification(scales: Iterable[Scale | None], on: date) -> list[Notice]:
    """Scales that were weighed on past the last day of their verification, each told of once."""
    used = dict.fromkeys(scale for scale in scales if scale is not None)
    return [past_verification(s) for s in used if s.verified_until is not None and s.verified_until < on]


def past_verification(scale: Scale) -> Notice:
    text = (
        f"{scale.name} was verified until {scale.verified_until}: a reading that money rests on "
        "may need a scale whose verification is in force."
    )
    return Notice("scale-past-verification", text, "Directive 2014/31/EU and national law on weighing")


def linked_cash(limit: Limit, minor: int, payments: int, currency: str) -> Notice:
    """Cash with one client within the limit's window, added up, reaches a limit that the terms name."""
    text = f"{limit.text} {payments} payments in cash with this client add up to {amount(minor, currency)}."
    return Notice(LINKED, text, limit.source)


def price_jump(metal: str, before: Price, now: Price) -> list[Notice]:
    """A price that is far from the one before it, either way: often a slip of the finger."""
    if before.per_g and not before.per_g / JUMP < now.per_g < before.per_g * JUMP:
        text = (
            f"{metal.capitalize()} went from {plain(before.amount)} per {before.per} to "
            f"{plain(now.amount)} per {now.per} {now.currency}. If that is a slip, enter it again."
        )
        return [Notice("price-jump", text, COMMON)]
    return []


def far_lighter(net_g: Exact, melt_g: Exact) -> list[Notice]:
    """A melt that lost more than half of what was reckoned with."""
    if melt_g >= net_g / JUMP:
        return []
    weights = f"{shown(melt_g, 3)} g of {shown(net_g, 3)} g"
    text = f"The lot melted to {weights}: weigh again, and look at both entries."
    return [Notice("melt-far-below-net", text, COMMON)]


def more_than_went_in(metal: str, in_mg: int, out_mg: int) -> list[Notice]:
    """More came out than went in: a slip, a wrong assay, or metal of another batch."""
    if out_mg <= in_mg:
        return []
    weights = f"{fixed(out_mg, 3)} g of fine {metal} came out where {fixed(in_mg, 3)} g went in"
    text = f"{weights}: weigh and assay again."
    return [Notice("more-than-went-in", text, COMMON)]
