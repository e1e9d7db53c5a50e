"""How values stand in a column, and how SQL looks into them, the same in SQLite and PostgreSQL.

Moments and JSON are text that compares and hashes the same everywhere.
"""

# ruff: noqa: ARG002 - the signatures are SQLAlchemy's

import json
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import BigInteger, Boolean, Dialect, Integer, Text, TypeDecorator, literal_column, type_coerce
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement

from settle.reckoning import document


def canonical(data: Any) -> str:
    """Canonical JSON text (RFC 8785): equal data, equal text. `ValueError` for NaN and huge integers."""
    return document.canonical(data).decode("utf-8")


def moment_text(moment: datetime) -> str:
    """RFC 3339 in UTC with milliseconds: of fixed width, so that text sorts as time does."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


# Text compares by its bytes, whatever language a database was made for.
Words = Text().with_variant(Text(collation="C"), "postgresql")


class Canonical(TypeDecorator[Any]):
    """JSON-shaped data, kept as its canonical text."""

    impl = Words
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        return None if value is None else canonical(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        return None if value is None else json.loads(value)


class Moment(TypeDecorator[datetime]):
    """An aware datetime, kept as RFC 3339 text in UTC."""

    impl = Words
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        if value is not None and value.tzinfo is None:
            # A moment without a zone is a guess; the books don't guess.
            raise ValueError("a moment needs a time zone")
        return None if value is None else moment_text(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:
        return None if value is None else datetime.fromisoformat(value)


# STRICT tables know INTEGER alone (64 bits there); elsewhere milligrams and cents need the wide type.
Whole = BigInteger().with_variant(Integer(), "sqlite")


class _OfJson(FunctionElement[Any]):
    inherit_cache = True

    def __init__(self, data: Any, name: str) -> None:
        super().__init__(type_coerce(data, Words), literal_column(f"'{name}'"))


class Member(_OfJson):
    """A member of an object in JSON text, as text; NULL where it has none."""

    inherit_cache = True
    type = Words


class Each(_OfJson):
    """The elements of the list under a name of an object in JSON text: a table with the column `value`."""

    inherit_cache = True
    name = "each"


class Inside(FunctionElement[bool]):
    """Whether text holds other text, or bytes hold others."""

    inherit_cache = True
    type = Boolean()


@compiles(Member)
def _member(element: Member, compiler: Any, **how: Any) -> str:
    data, name = _parts(element, compiler, how)
    return f"json_extract({data}, '$.' || {name})"


@compiles(Member, "postgresql")
def _member_postgresql(element: Member, compiler: Any, **how: Any) -> str:
    data, name = _parts(element, compiler, how)
    return f'(({data})::json ->> {name} COLLATE "C")'


@compiles(Each)
def _each(element: Each, compiler: Any, **how: Any) -> str:
    data, name = _parts(element, compiler, how)
    return f"json_each({data}, '$.' || {name})"


@compiles(Each, "postgresql")
def _each_postgresql(element: Each, compiler: Any, **how: Any) -> str:
    data, name = _parts(element, compiler, how)
    return f"json_array_elements(({data})::json -> {name})"


@compiles(Inside)
def _inside(element: Inside, compiler: Any, **how: Any) -> str:
    held, sought = _parts(element, compiler, how)
    return f"instr({held}, {sought}) > 0"


@compiles(Inside, "postgresql")
def _inside_postgresql(element: Inside, compiler: Any, **how: Any) -> str:
    held, sought = _parts(element, compiler, how)
    return f"position({sought} IN {held}) > 0"


def _parts(element: FunctionElement[Any], compiler: Any, how: Any) -> tuple[str, str]:
    one, other = (compiler.process(clause, **how) for clause in element.clauses)
    return one, other
