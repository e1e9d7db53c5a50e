"""Figures as a reader of some language writes them.

Every figure comes here as a decimal string that the reckoning has already
rounded by its own rule. Nothing is rounded again: the pattern given to Babel
has as many places as the string has.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, localcontext
from typing import Any
from zoneinfo import ZoneInfo

from babel import Locale
from babel.dates import format_date, format_time
from babel.numbers import format_currency, format_decimal, get_currency_symbol, get_decimal_symbol

from api.paper.sentences import told
from api.paper.words import words
from settle.reckoning.exact import Exact, plain, shown
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.weight import GRAMS_PER

MINUS = "\N{MINUS SIGN}"
_DECIMAL = re.compile(r"-?[0-9]+(\.[0-9]+)?")
_MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:.]+(Z|[+-][0-9:]{5})")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_DAYS = {"date", "day", "from", "to"}
_LETTER_BY_DIGIT = re.compile(r"(?<=[A-Za-z])(?=[0-9])")
_PURE_KARAT = 24
# Strings under these names are figures; any other string (a stamp of "585", say) is left as it is.
_FIGURES = {
    "fineness", "stated_fineness", "quantity", "rate", "tier", "filled_part", "u", "exact", "rounded",
    "ratio", "gold_fraction", "from", "to", "payout_rate", "instead_of", "k", "expanded_u",
    "silver_to_gold", "likely", "high", "target", "gold", "recovery", "balance",
}  # fmt: skip
_FIGURE_MAPS = {"assay", "agreed", "payout_rates", "inputs", "composition"}
_SHARES = {"all_in", "void_if_moved"}
_SENTENCES = {"sentence", "verdict_in_words", "formula", "what", "verdict", "text", "source", "chemical"}


@dataclass(frozen=True, slots=True)
class Printer:
    """How one reader writes figures: the language, and the time zone of the house."""

    locale: Locale
    zone: ZoneInfo

    def figure(self, text: str) -> str:
        """A decimal string with this language's separators; anything else as it is."""
        if not _DECIMAL.fullmatch(text):
            return text
        places = len(text.partition(".")[2])
        pattern = "#,##0" + ("." + "0" * places if places else "")
        # A figure that a verdict rests on has as many places as it takes.
        with localcontext(prec=len(text) + 2):
            return format_decimal(Decimal(text), pattern, self.locale).replace("-", MINUS)

    def money(self, of: Mapping[str, str]) -> dict[str, Any]:
        """`n` is the figure alone, `full` says the currency."""
        places = len(of["amount"].partition(".")[2])
        pattern = self.locale.currency_formats["standard"].pattern
        pattern = re.sub(r"0\.00", "0" + ("." + "0" * places if places else ""), pattern)
        with localcontext(prec=len(of["amount"]) + 2):
            amount = Decimal(of["amount"])
            full = format_currency(amount, of["currency"], pattern, self.locale, currency_digits=False)
        # A currency named by letters stands apart from its figure (CLDR), which Babel forgets.
        full = _LETTER_BY_DIGIT.sub("\N{NO-BREAK SPACE}", full.replace("-", MINUS))
        return self._figure(of["amount"], full) | {"currency": of["currency"]}

    def price(self, of: Mapping[str, str]) -> dict[str, Any]:
        money = self.money(of)
        per = self.unit(of["per"])
        more = {k: self.printed(v, k) for k, v in of.items() if k not in ("amount", "currency", "per")}
        return {**money, "full": f"{money['full']} {words(self.locale)['per']} {per}", "per": per, **more}

    def weight(self, of: Mapping[str, str]) -> dict[str, Any]:
        """A metal weight: grams, and `other`, the terms' unit beside them."""
        others = [f"{self.figure(n)} {self.unit(u)}" for u, n in of.items() if u != "g"]
        return {**self._figure(of["g"], f"{self.figure(of['g'])} g"), "other": others[0] if others else None}

    def entered(self, of: Mapping[str, str]) -> dict[str, Any]:
        """A weight as it was entered, in its own unit."""
        return self._figure(of["amount"], f"{self.figure(of['amount'])} {self.unit(of['unit'])}")

    def share(self, text: str) -> str:
        """A fraction as percent, exact."""
        return f"{self.figure(plain(Exact(text) * 100))} %"

    def karat(self, fineness: str) -> str:
        """Parts per thousand in 24ths, only shown (A8)."""
        return self.figure(shown(Exact(fineness) * _PURE_KARAT / WHOLE_PPT, 1))

    def moment(self, text: str) -> dict[str, str]:
        """A moment on the clock of the house."""
        at = datetime.fromisoformat(text).astimezone(self.zone)
        day = format_date(at, "long", self.locale)
        time = f"{format_time(at, 'short', locale=self.locale)} {at.tzname() or ''}".strip()
        return {"date": day, "time": time, "full": f"{day}, {time}"}

    def unit(self, name: str) -> str:
        return {"oz_av": "oz av.", "lb_av": "lb av.", "ozt": "oz t"}.get(name, name)

    def symbols(self, currency: str | None) -> dict[str, str]:
        """What templates need beside figures."""
        symbol = get_currency_symbol(currency, self.locale) if currency else ""
        return {"decimal": get_decimal_symbol(self.locale), "currency": currency or "", "symbol": symbol}

    def printed(self, value: Any, name: str = "") -> Any:
        """JSON-shaped data in the same shape, every figure in it as this reader writes it."""
        if isinstance(value, Mapping):
            return self._mapping(value, name)
        if isinstance(value, list):
            return [self.printed(inner, name) for inner in value]
        return self._text(value, name) if isinstance(value, str) else value

    def _mapping(self, of: Mapping[str, Any], name: str) -> Any:
        keys = set(of)
        if {"amount", "currency", "per"} <= keys:
            return self.price(of)
        if keys == {"amount", "currency"}:
            return self.money(of)
        if keys == {"amount", "unit"}:
            return self.entered(of)
        if "g" in keys and keys <= set(GRAMS_PER):
            return self.weight(of)
        inner = "exact" if name in _FIGURE_MAPS else ""
        found = {k: self.printed(v, inner or k) for k, v in of.items()}
        return found if inner else found | self._beside(of)

    def _beside(self, of: Mapping[str, Any]) -> dict[str, str]:
        """The same figure said another way: a rate as percent, a fineness in 24ths, a cheaper tier."""
        said = {}
        for name, way in (("rate", self.share), ("payout_rate", self.share), ("fineness", self.karat)):
            if isinstance(of.get(name), str) and _DECIMAL.fullmatch(of[name]):
                said["karat" if name == "fineness" else f"{name}_percent"] = way(of[name])
        tier, quantity = of.get("tier"), of.get("quantity")
        if tier and quantity and Decimal(tier) > Decimal(quantity):
            # The start of the next tier would have cost less (F1): that is what was charged.
            said["charged_as"] = self.figure(tier)
        return said

    def _text(self, text: str, name: str) -> Any:
        if _MOMENT.fullmatch(text):
            return self.moment(text)
        if name in _DAYS and _DAY.fullmatch(text):
            day = format_date(date.fromisoformat(text), "long", self.locale)
            return {"date": day, "full": day}
        if name in _SHARES and _DECIMAL.fullmatch(text):
            return self.share(text)
        if name in _FIGURES:
            return self.figure(text)
        return told(text, self.locale, self.figure) if name in _SENTENCES else text

    def _figure(self, text: str, full: str) -> dict[str, Any]:
        value = Decimal(text)
        return {"n": self.figure(text), "full": full, "zero": value == 0, "minus": value < 0}
