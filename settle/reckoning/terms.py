"""One frozen version of the terms of business, and the words it may use.

`read_terms` takes the JSON shape that `POST /v1/terms` takes and finds every
fault at once. Weights are grams, rates exact fractions, finenesses parts per thousand.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from settle.reckoning.exact import ONE, ZERO, Exact, decimal, plain
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.money import PLACES
from settle.reckoning.problems import Faults
from settle.reckoning.reading import Duration, Json, Reader
from settle.reckoning.tables import ALLOY_SILVER, METALS
from settle.reckoning.tariff import Charge, Tax, read_charge, read_tax, tax_code
from settle.reckoning.weight import GRAMS_PER, unit_fault

METHODS = ("mark", "touchstone", "xrf", "fire_assay", "difference", "table", "none")
# How metal is assayed. `difference`: an outside laboratory measures the impurities, the rest is the metal.
ASSAY_METHODS = ("fire_assay", "xrf", "icp", "titration", "difference", "other")
SETTLE_ON = ("outturn", "assay", "counter")
SILVER_RULES = ("house_first", "pro_rata")
COLOURS = ("yellow", "rose", "white", "green")
CASES = ("low", "likely", "high")
PRICE_TIMES = ("quote", "acceptance", "receipt", "settlement")
ALLOY_TABLE = "alloy_table"
# What becomes of drillings: the client's (terms), the house's.
RETURNED, CREDITED, KEPT = "returned", "credited", "kept"
DRILLINGS = (RETURNED, CREDITED)


@dataclass(frozen=True, slots=True)
class Evidence:
    """A kind of evidence and what it is worth, in parts per thousand (B3)."""

    name: str
    method: str
    bias_ppt: Exact = ZERO
    scatter_ppt: Exact = ZERO
    shared_ppt: Exact = ZERO
    reckon: bool = True


@dataclass(frozen=True, slots=True)
class AlloyRow:
    """Silver to guess for a colour and fineness range, parts per thousand (B5)."""

    colour: str
    start_ppt: Exact
    end_ppt: Exact
    low_ppt: Exact
    likely_ppt: Exact
    high_ppt: Exact


@dataclass(frozen=True, slots=True)
class MetalTerms:
    """What the house answers for and pays, for one metal (D, E4, F3, H4)."""

    settle_on: str
    recovery: Exact
    recovery_u: Exact
    accountable: Exact
    minimum_deduction_g: Exact
    payable_from_g: Exact
    payout_rate: Exact
    top_up_rate: Exact
    top_up_tax: str | None
    balance: Exact | None
    splitting_limit_ppt: Exact | None


@dataclass(frozen=True, slots=True)
class Limit:
    """An amount of money that is noticed when reached, and whose rule says so."""

    name: str
    amount: Exact
    window: Duration
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class Terms:
    """One version of the terms; never edited once it is in the books."""

    name: str
    public: bool
    currency: str
    weight_unit: str
    karat_basis: str
    division_g: Exact
    evidence: Mapping[str, Evidence]
    estimate_silver: bool
    alloy_silver: tuple[AlloyRow, ...]
    metals: Mapping[str, MetalTerms]
    silver_rule: str
    parting_target: Exact
    house_silver_ppt: Exact
    house_gold_ppt: Exact
    charges: tuple[Charge, ...]
    taxes: Mapping[str, Tax]
    cash_step_minor: int | None
    least_paid_minor: int
    drillings: str
    purchase_case: str
    price_time: str
    quote_valid_for: Duration
    price_max_age: Duration
    void_if_moved: Exact | None
    umpire_rule: str
    umpire_fee: Exact
    advance_share: Exact
    stating_step_g: Exact
    fineness_steps_ppt: tuple[Exact, ...]
    least_u_ppt: Mapping[str, Exact]
    over_pour_g: Exact
    pour_loss: Exact
    holding_period: Duration
    query_period: Duration
    sample_period: Duration
    retention: Duration
    limits: tuple[Limit, ...] = field(default=())
    number: str = ""


def read_terms(data: Json, number: str = "", faults: Faults | None = None) -> Terms:
    """Terms from their JSON shape. Raises `Refused` with every fault, unless `faults` gathers."""
    gathered = Faults() if faults is None else faults
    reader = Reader(data, gathered)
    taxes = {code: read_tax(code, inner) for code, inner in reader.named("taxes")}
    metals = _metals(reader, taxes)
    house = reader.object("house_silver") if reader.has("house_silver") else Reader({}, gathered)
    house_ppt = house.decimal("fineness", WHOLE_PPT, most=WHOLE_PPT)
    gold_ppt = house.decimal("gold", ZERO, most=WHOLE_PPT)
    if house_ppt + gold_ppt > WHOLE_PPT:
        house.fault("gold", "fineness-above-1000", "silver and gold exceed 1000 together", "1000 at most")
    terms = Terms(
        name=reader.text("name"),
        public=reader.flag("public"),
        currency=_currency(reader),
        weight_unit=_unit(reader, "weight_unit"),
        karat_basis=reader.word("karat_basis", ("exact", "standard"), "exact"),
        division_g=reader.weight("division"),
        evidence=_evidence(reader),
        estimate_silver=reader.flag("estimate_silver"),
        alloy_silver=_alloy_rows(reader),
        metals=metals,
        silver_rule=reader.word("silver_rule", SILVER_RULES, "pro_rata"),
        parting_target=_parting_target(reader, gold_ppt),
        house_silver_ppt=house_ppt,
        house_gold_ppt=gold_ppt,
        charges=tuple(read_charge(inner, tuple(metals), taxes) for inner in reader.objects("charges")),
        taxes=taxes,
        cash_step_minor=_cash_step(reader) if reader.has("cash_step") else None,
        least_paid_minor=_whole_minor(reader, "least_paid") if reader.has("least_paid") else 0,
        drillings=reader.word("drillings", DRILLINGS, RETURNED),
        purchase_case=reader.word("purchase_case", CASES, "low"),
        price_time=reader.word("price_time", PRICE_TIMES, "quote"),
        quote_valid_for=reader.duration("quote_valid_for", "PT24H"),
        price_max_age=reader.duration("price_max_age", "PT1H"),
        void_if_moved=reader.share("void_if_moved") if reader.has("void_if_moved") else None,
        umpire_rule=reader.word("umpire_rule", ("final", "middle"), "middle"),
        umpire_fee=reader.decimal("umpire_fee", ZERO),
        advance_share=reader.share("advance_share", ZERO),
        stating_step_g=reader.weight("stating_step", Exact(1, 100)),
        fineness_steps_ppt=_steps(reader),
        least_u_ppt=_least_u(reader),
        over_pour_g=reader.weight("over_pour", Exact(5, 100), positive=False),
        pour_loss=reader.share("pour_loss", Exact(1, 1000)),
        holding_period=reader.duration("holding_period", "P0D"),
        query_period=reader.duration("query_period", "P14D"),
        sample_period=reader.duration("sample_period", "P30D"),
        retention=reader.duration("retention", "P5Y"),
        limits=tuple(_limit(name, inner, _currency_of(reader)) for name, inner in reader.named("limits")),
        number=number,
    )
    _no_name_twice(reader, terms)
    if faults is None:
        gathered.refuse_if_any()
    return terms


def _cash_step(reader: Reader) -> int:
    """A step above zero, minor units (F4)."""
    step = _whole_minor(reader, "cash_step")
    if not step and not reader.faults.stands_at(reader.at("cash_step")):
        reader.fault("cash_step", "out-of-range", "zero", "above zero")
    return max(1, step)


def _whole_minor(reader: Reader, field: str) -> int:
    """Money of the terms in whole minor units of their currency."""
    minor = reader.decimal(field) * 10 ** PLACES.get(_currency_of(reader), 0)
    if _currency_of(reader) in PLACES and minor.denominator != 1:
        right = "whole minor units of the currency"
        reader.fault(field, "out-of-range", f"{reader.data[field]} is no coin", right)
    return int(minor)


def _currency(reader: Reader) -> str:
    code = reader.text("currency")
    if code and code not in PLACES:
        reader.fault("currency", "unknown-currency", f'"{code[:10]}" is not in ISO 4217', "such as GBP")
    return code if code in PLACES else "GBP"


def _unit(reader: Reader, name: str) -> str:
    unit = reader.text(name, "g")
    fault = unit_fault(unit, reader.at(name)) if unit else None
    reader.faults.extend([fault] if fault else [])
    return unit if unit in GRAMS_PER else "g"


def _evidence(reader: Reader) -> Mapping[str, Evidence]:
    if not reader.has("evidence"):
        reader.missing("evidence", "the kinds of evidence that the shop knows, by name")
    kinds = {}
    for name, inner in reader.named("evidence"):
        method = inner.word("method", METHODS)
        if inner.flag("reckon", default=True):
            kinds[name] = Evidence(
                name,
                method,
                inner.decimal("bias", ZERO, signed=True),
                inner.decimal("scatter", ZERO, most=WHOLE_PPT),
                inner.decimal("shared", ZERO, most=WHOLE_PPT),
            )
        else:
            kinds[name] = Evidence(name, method, reckon=False)
    return kinds


def _alloy_rows(reader: Reader) -> tuple[AlloyRow, ...]:
    if not reader.has("alloy_silver"):
        return _PRODUCT_ROWS
    rows: list[AlloyRow] = []
    for inner in reader.objects("alloy_silver"):
        names = ("from", "to", "low", "likely", "high")
        start, end, low, likely, high = (inner.decimal(n, most=WHOLE_PPT) for n in names)
        row = AlloyRow(inner.word("colour", COLOURS), start, end, low, likely, high)
        if not low <= likely <= high:
            inner.fault("likely", "contradiction", "not between low and high", "low ≤ likely ≤ high")
        if start >= end:
            inner.fault("to", "contradiction", "not above from", "a range that is not empty")
        if any(r.colour == row.colour and start < r.end_ppt and r.start_ppt < end for r in rows):
            inner.fault("from", "contradiction", "overlaps a row above", "rows that don't overlap")
        rows.append(row)
    return tuple(rows)


_PRODUCT_ROWS = tuple(
    AlloyRow(r.colour, *(decimal(f) for f in (r.start, r.end, r.low, r.likely, r.high))) for r in ALLOY_SILVER
)


def _metals(reader: Reader, taxes: Mapping[str, Tax]) -> Mapping[str, MetalTerms]:
    if not reader.has("metals"):
        reader.missing("metals", "at least one of " + ", ".join(METALS))
    elif not reader.data["metals"]:
        reader.fault("metals", "missing", "no metal", "at least one of " + ", ".join(METALS))
    metals = {}
    for name, inner in reader.named("metals"):
        if name not in METALS:
            inner.fault("", "unknown-metal", f'no metal "{name[:20]}"', "one of " + ", ".join(METALS))
        metals[name] = _metal(inner, taxes)
    # One order of metals everywhere, whatever order the terms were typed in.
    return {m: metals[m] for m in METALS if m in metals}


def _metal(inner: Reader, taxes: Mapping[str, Tax]) -> MetalTerms:
    settle_on = inner.word("settle_on", SETTLE_ON)
    if settle_on == inner.data.get("settle_on") == "outturn" and not inner.has("recovery"):
        inner.missing("recovery", 'the expected recovery, such as "0.99", where settled on outturn')
    return MetalTerms(
        settle_on=settle_on,
        recovery=inner.share("recovery", ONE),
        recovery_u=inner.share("recovery_u", ZERO),
        accountable=inner.share("accountable"),
        minimum_deduction_g=inner.weight("minimum_deduction", ZERO, positive=False),
        payable_from_g=inner.weight("payable_from", ZERO, positive=False),
        payout_rate=inner.share("payout_rate"),
        top_up_rate=inner.decimal("top_up_rate", ONE, most=Exact(10)),
        top_up_tax=tax_code(inner, "top_up_tax", taxes),
        balance=inner.share("balance") if inner.has("balance") else None,
        splitting_limit_ppt=(
            inner.decimal("splitting_limit", most=WHOLE_PPT) if inner.has("splitting_limit") else None
        ),
    )


def _parting_target(reader: Reader, house_gold_ppt: Exact) -> Exact:
    target = reader.decimal("parting_target", Exact(1, 4), most=ONE, stand_in=ONE)
    if target <= house_gold_ppt / WHOLE_PPT:
        right = f"above {plain(house_gold_ppt / WHOLE_PPT)}, the gold fraction of the house silver"
        reader.fault("parting_target", "out-of-range", f"{plain(target)} can't be reached", right)
    return target


def _steps(reader: Reader) -> tuple[Exact, ...]:
    raw = reader.data.get("fineness_steps", ["995", "999", "999.9"])
    right = 'ascending finenesses such as ["995", "999", "999.9"]'
    try:
        if not isinstance(raw, list | tuple):
            raise TypeError(raw)
        steps = tuple(decimal(step) for step in raw)
    except (ValueError, TypeError):
        reader.fault("fineness_steps", "not-a-decimal", "not a list of decimal strings", right)
        return ()
    if list(steps) != sorted(set(steps)) or any(not 0 < s <= WHOLE_PPT for s in steps):
        reader.fault("fineness_steps", "contradiction", "not ascending within 1000", right)
    return steps


def _least_u(reader: Reader) -> Mapping[str, Exact]:
    """By method of assay, the least standard uncertainty that it may claim (A6); one not named is free."""
    least = {}
    for method, inner in reader.named("assay_methods"):
        if method not in ASSAY_METHODS:
            right = "one of " + ", ".join(ASSAY_METHODS)
            inner.fault("", "not-one-of", f'no method of assay "{method[:20]}"', right)
        least[method] = inner.decimal("least_u", most=WHOLE_PPT)
    # One order of methods everywhere, whatever order the terms were typed or kept in.
    return {method: least[method] for method in ASSAY_METHODS if method in least}


def _currency_of(reader: Reader) -> str:
    currency = reader.data.get("currency")
    return currency if isinstance(currency, str) else ""


def _limit(name: str, inner: Reader, of_terms: str) -> Limit:
    money = inner.object("amount")
    amount = money.decimal("amount")
    currency = money.text("currency")
    if currency and currency not in PLACES:
        money.fault("currency", "unknown-currency", f'"{currency[:10]}" is not in ISO 4217', "such as GBP")
    elif currency and of_terms in PLACES and currency != of_terms:
        money.fault("currency", "other-currency", f"{currency}, but the terms are in {of_terms}", of_terms)
    return Limit(name, amount, inner.duration("window", "P0D"), inner.text("text"), inner.text("source"))


def _no_name_twice(reader: Reader, terms: Terms) -> None:
    names = [charge.name for charge in terms.charges]
    for i, name in enumerate(names):
        if name and name in names[:i]:
            pointer = reader.at("charges", i, "name")
            reader.faults.add("contradiction", pointer, f'"{name}" stands twice', "a name of its own")
