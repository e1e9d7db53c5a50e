"""What may be set from outside: variables `SETTLE_*`, else the TOML file that `SETTLE_CONFIG` names."""

import os
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields
from difflib import get_close_matches
from ipaddress import ip_address
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from platformdirs import user_data_path
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

ONE_MIB = 1024 * 1024
PREFIX = "SETTLE_"
CONFIG = "SETTLE_CONFIG"
DEFAULT = "the default"

LOCALES = ("en_GB", "en_US", "de_DE", "de_AT", "de_CH")
PAPERS = ("a4", "letter", "receipt")


@dataclass(frozen=True, slots=True)
class Shop:
    """What the shop says of itself on every paper.

    `address` has its lines, `mark` is an SVG drawing, `fonts` a folder of fonts for
    names that the program's own can't show.
    """

    name: str = "The house"
    address: tuple[str, ...] = ()
    tax_identity: str = ""
    mark: str = ""
    locale: str = "en_GB"
    paper: str = "a4"
    fonts: str = ""


@dataclass(frozen=True, slots=True)
class Limits:
    """Requests a minute: of one key and one address; tighter ones for keys with `estimate` alone."""

    per_key: int = 1200
    per_address: int = 1200
    estimates_per_key: int = 300
    estimates_per_address: int = 30


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of one house. `body_limit` and `photograph_limit` are in bytes."""

    database_url: str
    time_zone: str = "UTC"
    house_name: str = "The house"
    body_limit: int = ONE_MIB
    photograph_limit: int = 10 * ONE_MIB
    # Most lots in one body of JSON Lines, and most items in an estimate of a key with `estimate` alone.
    lines_limit: int = 1000
    estimate_items: int = 50
    # Whether `serve` delivers events itself, and whether hooks may lie in a network of one's own.
    deliver: bool = False
    hooks_private: bool = False
    metrics: bool = False
    # The address of the one proxy that is believed when it says for whom it asks.
    trusted_proxy: str = ""
    # Without limits nothing is counted: for a server that nobody else can reach.
    limits: Limits | None = None
    shop: Shop = Shop()


_TABLES: Mapping[str, type[Any]] = {"": Settings, "limits": Limits, "shop": Shop}


@dataclass(frozen=True, slots=True)
class Setting:
    """One thing that may be set: `table` and `name` as in the file, how a text is read, what is right."""

    table: str
    name: str
    read: Callable[[str], object]
    right: str
    secret: bool = False

    @property
    def variable(self) -> str:
        return PREFIX + "_".join(part for part in (self.table, self.name) if part).upper()

    @property
    def place(self) -> str:
        return f"{self.table}.{self.name}" if self.table else self.name

    @property
    def default(self) -> object:
        if self.place == "database_url":
            return f"sqlite:///{default_database()}"
        return next(f.default for f in fields(_TABLES[self.table]) if f.name == self.name)


@dataclass(frozen=True, slots=True)
class Found:
    """A setting, its value, and where that came from."""

    setting: Setting
    value: Any
    source: str

    @property
    def shown(self) -> str:
        """The value for whoever looks on: no password, and nothing of an address's query."""
        if self.setting.secret:
            return make_url(self.value).set(query={}).render_as_string(hide_password=True)
        if isinstance(self.value, bool):
            return str(self.value).lower()
        return " | ".join(self.value) if isinstance(self.value, tuple) else str(self.value)


def default_database() -> Path:
    """The SQLite file in the user's data folder."""
    return user_data_path("settle", appauthor=False) / "settle.sqlite3"


def read_settings(environment: Mapping[str, str] = os.environ) -> Settings:
    """The settings of this process. Raises `ValueError` that names the setting and says what is right."""
    tables: dict[str, dict[str, Any]] = {table: {} for table in _TABLES}
    for found in find_settings(environment):
        tables[found.setting.table][found.setting.name] = found.value
    return Settings(**tables[""], limits=Limits(**tables["limits"]), shop=Shop(**tables["shop"]))


def find_settings(environment: Mapping[str, str] = os.environ) -> list[Found]:
    """Every setting with its value and where it came from: the environment, the file, else the default."""
    file = environment.get(CONFIG, "")
    in_file = _read_file(Path(file)) if file else {}
    found = [_found(setting, environment, in_file, file) for setting in KNOWN]
    # A shop without a name of its own has the house's.
    house = next(f for f in found if f.setting.place == "house_name")
    return [
        Found(f.setting, house.value, house.source)
        if f.setting.place == "shop.name" and f.source == DEFAULT
        else f
        for f in found
    ]


def unknown_variables(environment: Mapping[str, str] = os.environ) -> list[str]:
    """Variables `SETTLE_*` that nobody reads."""
    read = {setting.variable for setting in KNOWN} | {CONFIG}
    return sorted(name for name in environment if name.startswith(PREFIX) and name not in read)


def _found(setting: Setting, environment: Mapping[str, str], in_file: Mapping[str, str], file: str) -> Found:
    # An empty variable is one that nobody set.
    if text := environment.get(setting.variable):
        return Found(setting, _value(setting, setting.variable, text), setting.variable)
    if setting.place in in_file:
        value = _value(setting, f"{setting.place} in {file}", in_file[setting.place])
        return Found(setting, value, file)
    return Found(setting, setting.default, DEFAULT)


def _value(setting: Setting, where: str, text: str) -> object:
    try:
        return setting.read(text)
    except (ValueError, LookupError, OSError, ArgumentError):
        given = "what was given" if setting.secret else repr(text)
        # Nothing is chained: the reader's own words may repeat a secret.
        raise ValueError(f"{where} can't be {given}: it is {setting.right}") from None


def _read_file(path: Path) -> dict[str, str]:
    """The file's settings as texts, by place. Raises `ValueError` for what nobody knows."""
    try:
        parsed = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise ValueError(f"{CONFIG}: {path} can't be read as TOML: {error}") from error
    texts = {place: _text(place, value, path) for place, value in _flat(parsed)}
    known = [setting.place for setting in KNOWN]
    for place in texts:
        if place not in known:
            near = get_close_matches(place, known, n=1) or known
            raise ValueError(f"{place} in {path} is no setting: {', '.join(near)}")
    return texts


def _flat(parsed: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for name, value in parsed.items():
        if isinstance(value, dict):
            yield from ((f"{name}.{inner}", deep) for inner, deep in value.items())
        else:
            yield name, value


def _text(place: str, value: object, path: Path) -> str:
    """A value of the file as the variable would give it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | str):
        return str(value)
    if isinstance(value, list) and all(isinstance(line, str) for line in value):
        return "\n".join(value)
    raise ValueError(f"{place} in {path} can't be that: it is a text, a whole number, true or false")


def _lines(text: str) -> tuple[str, ...]:
    """Lines of an address, parted by new lines or upright strokes."""
    return tuple(line.strip() for line in text.replace("|", "\n").splitlines() if line.strip())


def _mark(path: str) -> str:
    """The drawing in an SVG file."""
    drawing = Path(path).read_text("utf-8")
    if "<svg" not in drawing:
        raise ValueError("not an SVG drawing")
    return drawing


def _locale(text: str) -> str:
    return _one_of(text.replace("-", "_"), LOCALES)


def _paper(text: str) -> str:
    return _one_of(text.lower(), PAPERS)


def _one_of(text: str, words: tuple[str, ...]) -> str:
    if text not in words:
        raise ValueError("not one of " + ", ".join(words))
    return text


def _folder(text: str) -> str:
    if not Path(text).is_dir():
        raise ValueError("not a folder")
    return text


def _zone(text: str) -> str:
    return ZoneInfo(text).key


def _url(text: str) -> str:
    make_url(text)
    return text


def _address(text: str) -> str:
    return str(ip_address(text))


def _from(least: int) -> Callable[[str], int]:
    """A reader of whole numbers from `least` on."""

    def read(text: str) -> int:
        if (number := int(text)) < least:
            raise ValueError("too small")
        return number

    return read


def _flag(text: str) -> bool:
    return _one_of(text.lower(), ("true", "false")) == "true"


_YES_OR_NO = "true or false"
_BYTES = "a number of bytes, 1024 or more"
_COUNT = "a whole number, 1 or more"
_A_MINUTE = "a number of requests a minute, 1 or more"

KNOWN: tuple[Setting, ...] = (
    Setting("", "database_url", _url, "a database URL such as sqlite:///books.sqlite3", secret=True),
    Setting("", "time_zone", _zone, "a time zone such as Europe/London"),
    Setting("", "house_name", str, "a name"),
    Setting("", "body_limit", _from(1024), _BYTES),
    Setting("", "photograph_limit", _from(1024), _BYTES),
    Setting("", "lines_limit", _from(1), _COUNT),
    Setting("", "estimate_items", _from(1), _COUNT),
    Setting("", "deliver", _flag, _YES_OR_NO),
    Setting("", "hooks_private", _flag, _YES_OR_NO),
    Setting("", "metrics", _flag, _YES_OR_NO),
    Setting("", "trusted_proxy", _address, "the address of one machine, such as 127.0.0.1"),
    Setting("limits", "per_key", _from(1), _A_MINUTE),
    Setting("limits", "per_address", _from(1), _A_MINUTE),
    Setting("limits", "estimates_per_key", _from(1), _A_MINUTE),
    Setting("limits", "estimates_per_address", _from(1), _A_MINUTE),
    Setting("shop", "name", str, "a name"),
    Setting("shop", "address", _lines, "its lines, parted by new lines or |"),
    Setting("shop", "tax_identity", str, "a text"),
    Setting("shop", "mark", _mark, "an SVG file"),
    Setting("shop", "locale", _locale, "one of " + ", ".join(LOCALES)),
    Setting("shop", "paper", _paper, "one of " + ", ".join(PAPERS)),
    Setting("shop", "fonts", _folder, "a folder"),
)
