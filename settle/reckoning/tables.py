"""Reference rows as data, each with its source and how far it was seen.

`seen`: read (in the source), second-hand (in another text that quotes it),
memory (not seen when this was written), definition (follows from another row).
Prices, charges, recoveries and evidence figures are never here: they are the shop's.
"""

from dataclasses import dataclass

METALS = ("gold", "silver", "platinum", "palladium")

WM_1985 = "UK Weights and Measures Act 1985, Sch. 1"
WM_1976 = "UK Weights and Measures &c. Act 1976 s.1; NIST SP 811 App. B"
SI = "SI Brochure, BIPM"


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of weight; `definition` is in terms of a unit above it."""

    name: str
    words: str
    definition: str
    source: str
    seen: str


UNITS = (
    Unit("g", "gram", "0.001 kilogram", SI, "memory"),
    Unit("mg", "milligram", "0.001 g", SI, "memory"),
    Unit("kg", "kilogram", "1000 g", SI, "memory"),
    Unit("lb_av", "avoirdupois pound", "453.59237 g", WM_1985, "read"),
    Unit("oz_av", "avoirdupois ounce", "28.349523125 g", WM_1985, "read"),
    Unit("ozt", "troy ounce", "31.1034768 g", WM_1985, "read"),
    Unit("dwt", "pennyweight", "1.55517384 g", WM_1976, "read"),
    Unit("grain", "grain", "0.06479891 g", WM_1976, "second-hand"),
    Unit("tola", "tola", "180 grain", "India, Standards of Weight Act 1939 s.3", "read"),
    Unit("ct", "metric carat", "0.2 g", "CGPM 1907", "memory"),
)

# What a counter says short and means in more than one way (A1).
AMBIGUOUS_UNITS = {
    "oz": ("ozt", "oz_av"),
    "gr": ("g", "grain"),
    "lb": ("lb_av",),
}
PRICE_UNITS = ("g", "kg", "ozt", "dwt", "tola")


@dataclass(frozen=True, slots=True)
class Fineness:
    """A standard of fineness that law or convention knows, in parts per thousand."""

    metal: str
    fineness: str
    source: str
    seen: str


_UK = "UK Hallmarking Act 1973 Sch. 2 as amended; Hallmarking Convention, UK profile"
_MARKS = "common table of carat marks (ISO 9202 values from memory)"

FINENESSES = (
    *(Fineness("gold", f, _UK, "read") for f in ("375", "585", "750", "916", "990", "999")),
    *(Fineness("gold", f, _MARKS, "second-hand") for f in ("333", "417", "625", "833", "958")),
    *(Fineness("silver", f, _UK, "read") for f in ("925", "958", "999")),
    *(Fineness("silver", f, "trade finenesses", "memory") for f in ("800", "835", "900")),
    *(Fineness("platinum", f, _UK, "read") for f in ("850", "900", "950", "999")),
    *(Fineness("palladium", f, _UK, "read") for f in ("500", "950", "999")),
)

# The mark that standards give a karat (B2); any other karat is reckoned exactly.
STANDARD_KARAT_MARKS = {
    "8": "333",
    "9": "375",
    "10": "417",
    "14": "585",
    "18": "750",
    "22": "916",
    "24": "999",
}


@dataclass(frozen=True, slots=True)
class AlloySilver:
    """Silver in gold alloys of one colour and fineness range, parts per thousand of the alloy.

    `start` inclusive, `end` exclusive, of the known fineness before bias (B5).
    """

    colour: str
    start: str
    end: str
    low: str
    likely: str
    high: str
    source: str
    seen: str


_ISO_8654 = "ISO 8654 colours (3N, 4N, 5N) and old formularies"
_FORMULARY = "old alloy formularies; common practice for the likely figure"

ALLOY_SILVER = (
    AlloySilver("yellow", "325", "400", "50", "110", "400", _FORMULARY, "memory"),
    AlloySilver("yellow", "400", "500", "50", "120", "350", _FORMULARY, "memory"),
    AlloySilver("yellow", "500", "650", "40", "150", "300", _FORMULARY, "second-hand"),
    AlloySilver("yellow", "650", "800", "90", "125", "160", _ISO_8654, "second-hand"),
    AlloySilver("yellow", "800", "950", "20", "50", "90", _FORMULARY, "memory"),
    AlloySilver("rose", "325", "400", "20", "60", "150", _FORMULARY, "memory"),
    AlloySilver("rose", "400", "500", "20", "60", "130", _FORMULARY, "memory"),
    AlloySilver("rose", "500", "650", "20", "70", "130", _FORMULARY, "memory"),
    AlloySilver("rose", "650", "800", "30", "45", "90", _ISO_8654, "second-hand"),
    AlloySilver("rose", "800", "950", "0", "20", "50", _FORMULARY, "memory"),
    AlloySilver("green", "500", "650", "200", "325", "400", _FORMULARY, "memory"),
    AlloySilver("green", "650", "800", "200", "235", "250", _FORMULARY, "second-hand"),
)

# ISO 4217 currencies by the places of their minor unit; source: ISO 4217 list, from memory.
CURRENCY_PLACES = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF",
    2: "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BRL BSD BTN BWP BYN BZD "
    "CAD CDF CHF CNY COP CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP "
    "GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD "
    "LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD PAB "
    "PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC "
    "SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD UYU UZS VES WST XCD YER ZAR ZMW",
    3: "BHD IQD JOD KWD LYD OMR TND",
}
