"""What a member means wherever it stands, for the OpenAPI document: one word, one meaning.

A word that means something else somewhere is not here; it is described where it stands.
"""

from typing import Any

from marshmallow import Schema
from marshmallow.fields import Field, String

# Of strings alone: where an object stands under such a name, the object says what it is.
TEXTS = {
    "client": "Id of a client, such as C-1",
    "quote": "Number of a quote, such as Q-2026-0001",
    "lot": "Number of a lot, such as L-2026-0001",
    "batch": "Number of a batch, such as B-2026-0001",
    "silver_recovery": "Number of a silver recovery, such as R-2026-0001",
    "terms": "Number of a version of the terms, such as T-3",
    "default_terms": "Number of the terms that serve where a request names none",
    "serial": "Number of a bar, such as BAR-2026-0001",
    "scale": "Name of a scale, as entered",
    "entry": "Id of an entry, such as E-11: what a correction names",
    "corrects": "Id of the entry that this one stands in place of",
    "evidence": "What the fineness rests on: one of the names under `evidence` of the terms",
    "stamped": "What is stamped on it, copied as seen; nothing is reckoned with it",
    "karat": "24ths of fine metal, such as 18",
    "fineness": "Parts of fine metal per thousand of alloy (‰), such as 585",
    "filled_part": "For filled and rolled goods, the part of the weight that is the marked alloy",
    "colour": "Colour of a gold alloy; the silver to be expected in it depends on it",
    "u": "Standard uncertainty, in the unit of what it belongs to",
    "report": "Number of an outside laboratory's report",
    "least_u": "The least standard uncertainty that a method of assay may claim, parts per thousand",
    "expanded_u": "Standard uncertainty times `k`",
    "payout_rate": "Part of the price that is paid",
    "currency": "A currency of ISO 4217",
    "per": "Unit of weight that the amount is for",
    "paid_in": "How the money changed hands",
    "person": "Who stood at the till, as `Settle-Person` said",
    "made_at": "When it was made",
    "received_at": "When it was handed in",
    "posted_at": "When it was posted; null until then",
    "valid_until": "Until when a quote is held",
    "belongs_to": "Id of a client, or `house`; null while nobody's: its lot isn't settled, or withdrawn",
    "expires_at": "From when on it no longer works",
    "revoked_at": "When it was revoked; null while it works",
    "hash": "SHA-256 in hexadecimal; of a document, over its canonical JSON (RFC 8785)",
    "commodity": "A metal, in whole milligrams of fine metal, or a currency, in its smallest unit",
    "all_in": "What the client gets as a part of what the metal is worth at the full price",
    "tax_point": "The day that the tax is reckoned for",
    "remainder": "What becomes of metal that is in no bar: sold, returned loose, on account, or sold as far "
    "as the charges need it",
    "base": "What a charge is on; `silver_lent` is the house silver needed to part a lot, whatever was lent",
    "balance": "What part of what went in may be missing, or be found, without a query",
    "silver_rule": "Whose silver came back: in proportion to the loan and the lots, or the loan first, each "
    "lot losing also on the silver that it needed",
    "umpire_rule": "Whether the umpire's assay decides, kept within the parties', or the middle of three",
    "sample_period": "How long a client's drillings are kept after the settlement",
}
OTHERS = {
    "gross": "As it hangs on the scale, with all that isn't alloy",
    "deductions": "What is not alloy (stones, springs, cord), weighed or guessed",
    "nominal": "The weight that a bar is sold as",
    "over_pour": "How far above its nominal weight a bar may be poured",
    "reading": "What the scale showed",
    "division": "Smallest step of a scale's reading",
    "accountable": "What the house answers to the client for",
    "drillings": "Taken from the melt for assay; it leaves the lot",
    "override": "The owner's word against a refusal that can be overridden, with a reason",
    "consents_to_share": "Whether the lot may be refined together with those of others",
    "notices": "What the reader must be told, each with whose rule it is",
    "working": "One row a figure: enough to redo it by hand",
    "net_range": "The money of the account over the cases: what the client gets beside the metal, or owes "
    "where it lies below zero; null where nothing can be valued",
    "worth_range": "What all that the client gets is worth at the prices used, metal and money, over the "
    "cases; null where nothing can be valued",
    "client_gets": "All that the client gets, metal and money; what it is worth at the prices used",
    "not_valued": "What is in no figure of worth, and why",
    "bars_covered": "How many of the bars asked for are covered",
    "waived": "What of the net is too small to pay; above zero where the client forgoes it",
    "cash_rounding": "What the payment is beyond what it closes, as coins make it up",
    "splitting_limit": "How far two assays may lie apart, in parts per thousand, to be split in the middle",
    "umpire_fee": "What an umpire costs for one metal; the party farther off bears it",
    "least_paid": "A net whose size is below it is waived",
    "cash_step": "The smallest coin: what is paid in cash is a multiple of it",
    "origins": "Origins of the pages that a key is good from; none for a key that no page holds",
    "scopes": "What a key may do",
}


def described(field: Field[Any]) -> str:
    """What a member of an object is by its name and its kind; "" where neither says anything."""
    if not isinstance(field.parent, Schema):
        return ""
    name = field.data_key or field.name or ""
    meant = OTHERS.get(name, "") or (TEXTS.get(name, "") if isinstance(field, String) else "")
    told = "; ".join(filter(None, (meant, getattr(field, "about", ""))))
    return told[:1].upper() + told[1:]
