"""Access keys: made, found again by their secret, revoked. A secret is kept only as a hash."""

import secrets
from collections.abc import Collection
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any

from sqlalchemy import ColumnElement, Row, or_, select, update

from settle.books.columns import moment_text
from settle.books.listing import Listed, Page, page_of
from settle.books.tables import access_keys
from settle.books.work import Actor, Books, Work
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader

SCOPES = ("estimate", "quote", "settle", "work", "price", "read", "owner")

_SECRET_BYTES = 32
_NOTED_EVERY = timedelta(minutes=1)


def add(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Make a key as asked; the answer alone shows its secret."""
    r = Reader(body, faults)
    name = r.text("name")
    expires_at = datetime.fromisoformat(r.text("expires_at")) if r.has("expires_at") else None
    if expires_at is not None and expires_at <= work.now:
        r.fault("expires_at", "out-of-range", "not after now", "a moment to come")
    faults.refuse_if_any()
    secret = make_key(work, name, body["scopes"], expires_at, body.get("origins", ()))
    return {**key_of_secret(work, secret), "secret": secret}


def make_key(
    work: Work,
    name: str,
    scopes: Collection[str],
    expires_at: datetime | None = None,
    origins: Collection[str] = (),
) -> str:
    """A new key's secret, to be shown once. Raises `Refused` for a scope that nobody knows, or none.

    With `origins` it is a browser's key: good from pages of these origins alone.
    """
    _refuse_unknown_scopes(scopes)
    # 256 random bits can't be guessed, so a plain hash is enough: salt and stretching guard weak secrets.
    secret = secrets.token_urlsafe(_SECRET_BYTES)
    work.connection.execute(
        access_keys.insert().values(
            id=work.name("K"),
            name=name,
            scopes=[s for s in SCOPES if s in scopes],
            origins=sorted(set(origins)),
            hash=_hash(secret),
            made_at=work.now,
            expires_at=expires_at,
        )
    )
    return secret


def find_key(work: Work, secret: str) -> Actor | None:
    """Whose secret this is, or None. In a transaction that writes, its use is noted once a minute."""
    row = _row_of(work, secret)
    return None if row is None else _noted(work, row)


def recognise(books: Books, secret: str) -> Actor | None:
    """Whose secret this is, in a transaction of its own; the lock is taken only to note the use."""
    with books.reading() as work:
        row = _row_of(work, secret)
        if row is None or not _to_be_noted(work, row):
            return None if row is None else _actor(row)
    try:
        with books.writing(_actor(row)) as work:
            return find_key(work, secret)
    except Refused:
        # Busy books: that the use goes unnoted this once must not refuse the request itself.
        return _actor(row)


def refuse_void(work: Work) -> None:
    """Refuse a key that was recognised before and is revoked or expired since (`unauthorized`)."""
    if work.actor.key_id is not None:
        this = select(access_keys.c.n).where(access_keys.c.id == work.actor.key_id, *_living(work))
        if work.connection.execute(this).first() is None:
            raise Refused(void_key())


def void_key() -> Fault:
    """What is told of a key that was, as of one that never was: nobody can tell them apart."""
    wrong = "a key that is not known, expired or revoked"
    return Fault("unauthorized", "", wrong, "Authorization: Bearer and a valid key")


def list_keys(work: Work) -> list[dict[str, Any]]:
    """Every key, revoked ones too, without anything that would let one be used."""
    rows = work.connection.execute(select(access_keys).order_by(access_keys.c.n))
    return [_shown(row) for row in rows]


def listed(work: Work, page: Page) -> tuple[list[dict[str, Any]], Listed]:
    """The keys, newest first, as `list_keys` shows them."""
    rows = page_of(work, select(access_keys), access_keys, page)
    return [_shown(row) for row in rows.rows], rows


def is_origin(work: Work, origin: str) -> bool:
    """Whether a key that is valid now may be used from pages of this origin."""
    rows = work.connection.execute(select(access_keys.c.origins).where(*_living(work)))
    return any(origin in origins for origins in rows.scalars())


def find_key_by_id(work: Work, key_id: str) -> dict[str, Any]:
    """One key as `list_keys` shows it. Raises `Refused` (not-found)."""
    return _shown(_row_by_id(work, key_id))


def hash_of(work: Work, key_id: str) -> str:
    """The hash of a key's secret: it changes when the key is renewed. Raises `Refused` (not-found)."""
    return str(_row_by_id(work, key_id).hash)


def key_of_secret(work: Work, secret: str) -> dict[str, Any]:
    """The key just made, as `list_keys` shows it. Raises `Refused` (not-found)."""
    row = _row_of(work, secret)
    if row is None:
        raise Refused(Fault("not-found", "", "no such key", "a key that was made and not revoked"))
    return _shown(row)


def renew_secret(work: Work, key_id: str) -> str:
    """Another secret for the same key, shown once; the old one is void. Raises `Refused` (not-found)."""
    row = _row_by_id(work, key_id)
    if row.revoked_at is not None:
        raise Refused(Fault("wrong-state", "", f"{key_id} is revoked", "make a new key"))
    secret = secrets.token_urlsafe(_SECRET_BYTES)
    work.connection.execute(_one(key_id).values(hash=_hash(secret)))
    return secret


def revoke_key(work: Work, key_id: str) -> None:
    """Void a key for good; revoking it again changes nothing. Raises `Refused` (not-found, last-owner)."""
    row = _row_by_id(work, key_id)
    if row.revoked_at is not None:
        return
    if "owner" in row.scopes:
        _refuse_last_owner(work, row)
    work.connection.execute(_one(key_id).values(revoked_at=work.now))


def _refuse_last_owner(work: Work, row: Row[Any]) -> None:
    others = [other for other in _living_owners(work) if other.id != row.id]
    # A key that expires is no heir of one that doesn't.
    heirs = others if row.expires_at else [other for other in others if other.expires_at is None]
    if not heirs:
        wrong = f"{row.id} is the last key with the scope owner"
        raise Refused(Fault("last-owner", "", wrong, "make another owner key first"))


def _one(key_id: str) -> Any:
    return update(access_keys).where(access_keys.c.id == key_id)


def _row_by_id(work: Work, key_id: str) -> Row[Any]:
    row = work.connection.execute(select(access_keys).where(access_keys.c.id == key_id)).first()
    if row is None:
        raise Refused(Fault("not-found", "", f'no key "{key_id[:30]}"', "the id of a key"))
    return row


def _row_of(work: Work, secret: str) -> Row[Any] | None:
    # The hash is looked up, never compared: the time it takes says nothing of the secret.
    query = select(access_keys).where(access_keys.c.hash == _hash(secret), *_living(work))
    return work.connection.execute(query).first()


def _living(work: Work) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    """As conditions: neither revoked nor expired."""
    of = access_keys.c
    return of.revoked_at.is_(None), or_(of.expires_at.is_(None), of.expires_at > work.now)


def _living_owners(work: Work) -> list[Row[Any]]:
    rows = work.connection.execute(select(access_keys).where(*_living(work)))
    return [row for row in rows if "owner" in row.scopes]


def _to_be_noted(work: Work, row: Row[Any]) -> bool:
    return row.last_used_at is None or work.now - row.last_used_at >= _NOTED_EVERY


def _noted(work: Work, row: Row[Any]) -> Actor:
    if _to_be_noted(work, row):
        work.connection.execute(_one(row.id).values(last_used_at=work.now))
    return _actor(row)


def _actor(row: Row[Any]) -> Actor:
    return Actor(row.id, row.name, frozenset(row.scopes), origins=frozenset(row.origins))


def _shown(row: Row[Any]) -> dict[str, Any]:
    return {
        "id": row.id,
        "name": row.name,
        "scopes": row.scopes,
        "origins": row.origins,
        "made_at": moment_text(row.made_at),
        "expires_at": row.expires_at and moment_text(row.expires_at),
        "last_used_at": row.last_used_at and moment_text(row.last_used_at),
        "revoked_at": row.revoked_at and moment_text(row.revoked_at),
    }


def _hash(secret: str) -> str:
    # A header may hold anything; what can't be text of ours hashes to something that matches nothing.
    return sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def _refuse_unknown_scopes(scopes: Collection[str]) -> None:
    right = "some of " + " ".join(SCOPES)
    if not scopes:
        raise Refused(Fault("missing", "/scopes", "no scope", right))
    faults = [
        Fault("not-one-of", f"/scopes/{i}", f'no scope "{scope[:20]}"', right)
        for i, scope in enumerate(scopes)
        if scope not in SCOPES
    ]
    if faults:
        raise Refused(*faults)
