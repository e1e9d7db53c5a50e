"""Bodies about access: keys, people at the till, hooks."""

import re
from typing import ClassVar
from urllib.parse import urlsplit

from api.schemas.base import Schema
from api.schemas.fields import Moment, Text, Values, Word, Written
from settle.books.access import SCOPES
from settle.books.events import KINDS

_ORIGIN = r"https?://[a-z0-9]([a-z0-9.-]{0,200}[a-z0-9])?(:[0-9]{1,5})?"


class Origin(Written):
    """The origin of a web page, as a browser names it."""

    right = "an origin such as https://www.shop.example, in small letters, without a path"
    shape: ClassVar = {"pattern": f"^{_ORIGIN}$", "examples": ["https://www.shop.example"]}

    def check(self, value: str) -> None:
        if not re.fullmatch(_ORIGIN, value, re.ASCII):
            raise self.is_wrong("not an origin")


class Address(Written):
    """Where events are posted to: https, or http in a network of one's own."""

    right = "an address such as https://till.example/settle-events"
    shape: ClassVar = {"format": "uri", "maxLength": 500, "examples": ["https://till.example/settle-events"]}

    def check(self, value: str) -> None:
        try:
            parts = urlsplit(value)
            # Percent signs in a host: another reader may make a number of them.
            is_plain = bool(parts.hostname) and "%" not in parts.netloc
            is_address = parts.scheme in ("http", "https") and is_plain and parts.port != 0
        except ValueError:
            is_address = False
        said = value.isascii() and not set(value) & set("@# \\")
        if not (is_address and said and value.isprintable() and len(value) <= 500):
            raise self.is_wrong("not an address that can be posted to")


class KeySchema(Schema):
    """An access key: whose it is, what it may do, until when, from which pages."""

    name = Text(least=1, most=80, required=True)
    scopes = Values(Word(SCOPES), least=1, most=len(SCOPES), required=True)
    expires_at = Moment()
    origins = Values(Origin(), least=1, most=20)


class PersonSchema(Schema):
    """Who may stand at the till."""

    name = Text(least=1, most=80, required=True)


class HookSchema(Schema):
    """Where events go; of which kinds, all if none is named."""

    url = Address(required=True)
    kinds = Values(Word(KINDS), least=1, most=len(KINDS))
