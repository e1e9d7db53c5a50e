"""Hooks: where events go, and the secret that each is signed with."""

import base64
import secrets
from datetime import timedelta
from hashlib import sha256
from typing import Any

from sqlalchemy import Row, select

from settle.books.columns import moment_text
from settle.books.events import KINDS
from settle.books.listing import Listed, Page, page_of
from settle.books.narrowing import ALL, Wanted
from settle.books.tables import deliveries, events, hooks
from settle.books.work import Work
from settle.reckoning.problems import Fault, Faults, Refused
from settle.reckoning.reading import Json, Reader

OLD_SECRET_SIGNS_FOR = timedelta(days=1)
MOST_OLD_SECRETS = 4
_SECRET_BYTES = 32


def add(work: Work, body: Json, faults: Faults) -> dict[str, Any]:
    """Send events somewhere from now on; the answer alone shows the secret."""
    url = Reader(body, faults).text("url")
    faults.refuse_if_any()
    name, secret = work.name("H"), _new_secret()
    kinds = [kind for kind in KINDS if kind in body.get("kinds", KINDS)]
    work.connection.execute(
        hooks.insert().values(id=name, url=url, kinds=kinds, secret=secret, made_at=work.now)
    )
    return {**shown(work, name), "secret": secret}


def _new_secret() -> str:
    """As Standard Webhooks writes a symmetric secret."""
    return "whsec_" + base64.b64encode(secrets.token_bytes(_SECRET_BYTES)).decode()


def shown(work: Work, hook: str) -> dict[str, Any]:
    """One hook, without its secret. Raises `Refused` (not-found)."""
    return _shown(_row_of(work, hook))


def hash_of(work: Work, hook: str) -> str:
    """The hash of a hook's secret: it changes when the hook is renewed. Raises `Refused` (not-found)."""
    return sha256(_row_of(work, hook).secret.encode()).hexdigest()


def listed(work: Work, page: Page) -> tuple[list[dict[str, Any]], Listed]:
    """The hooks, newest first, revoked ones too."""
    rows = page_of(work, select(hooks), hooks, page)
    return [_shown(row) for row in rows.rows], rows


def renew_secret(work: Work, hook: str) -> dict[str, Any]:
    """Another secret; for a day each old one signs along, so that no receiver is taken by surprise.

    Raises `Refused` (wrong-state) where as many sign along as a header should hold.
    """
    row = _row_of(work, hook)
    if row.revoked_at is not None:
        raise Refused(Fault("wrong-state", "", f"{hook} is revoked", "a new hook"))
    old = [row.secret, *still_sign(work, row)]
    if len(old) > MOST_OLD_SECRETS:
        wrong = f"{MOST_OLD_SECRETS} old secrets of {hook} sign along until {moment_text(row.old_until)}"
        raise Refused(Fault("wrong-state", "", wrong, "wait until then, or a new hook in place of this one"))
    secret, until = _new_secret(), work.now + OLD_SECRET_SIGNS_FOR
    # All of them until the last one is done: each for a day at least.
    _change(work, row, secret=secret, old_secret=" ".join(old), old_until=until)
    return {**shown(work, hook), "secret": secret}


def still_sign(work: Work, row: Row[Any]) -> list[str]:
    """The old secrets of a hook's row that sign along now, the newest first."""
    return row.old_secret.split(" ") if row.old_secret is not None and work.now < row.old_until else []


def revoke(work: Work, hook: str) -> None:
    """Send nothing there any more, and forget its secrets; again changes nothing."""
    row = _row_of(work, hook)
    if row.revoked_at is None:
        _change(work, row, secret="", old_secret=None, old_until=None, revoked_at=work.now)
        waiting = deliveries.update().where(deliveries.c.hook == hook)
        work.connection.execute(waiting.values(next_at=None))


def deliveries_of(
    work: Work, hook: str, page: Page, wanted: Wanted = ALL
) -> tuple[list[dict[str, Any]], Listed]:
    """What goes or went to a hook, newest first, by the day of the event; `dead` is what was given up."""
    _row_of(work, hook)
    of = deliveries.c
    is_in = {
        "pending": of.next_at.is_not(None),
        "delivered": of.delivered_at.is_not(None),
        "dead": of.next_at.is_(None) & of.delivered_at.is_(None),
    }
    query = select(deliveries, events.c.kind, events.c.subject).join(events).where(of.hook == hook)
    rows = page_of(work, wanted.of(work, query, events.c.made_at, states=is_in), deliveries, page)
    return [_delivery_shown(row) for row in rows.rows], rows


def replay(work: Work, hook: str, delivery: str) -> dict[str, Any]:
    """Try a delivery again, as if it were new. Raises `Refused` (not-found, wrong-state)."""
    if _row_of(work, hook).revoked_at is not None:
        raise Refused(Fault("wrong-state", "", f"{hook} is revoked", "a hook that stands"))
    _delivery(work, hook, delivery)
    again = deliveries.update().where(deliveries.c.id == delivery)
    work.connection.execute(again.values(attempts=0, next_at=work.now, delivered_at=None))
    return _delivery_shown(_delivery(work, hook, delivery))


def _row_of(work: Work, hook: str) -> Row[Any]:
    row = work.connection.execute(select(hooks).where(hooks.c.id == hook)).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no hook {hook[:20]}", "the id of a hook"))
    return row


def _delivery(work: Work, hook: str, delivery: str) -> Row[Any]:
    query = select(deliveries, events.c.kind, events.c.subject).join(events)
    one = query.where(deliveries.c.hook == hook, deliveries.c.id == delivery)
    row = work.connection.execute(one).first()
    if row is None:
        raise Refused(Fault("not-found", "", f"no delivery {delivery[:20]}", "the id of one to this hook"))
    return row


def _change(work: Work, row: Row[Any], **values: Any) -> None:
    work.connection.execute(hooks.update().where(hooks.c.n == row.n).values(**values))


def _shown(row: Row[Any]) -> dict[str, Any]:
    return {
        "id": row.id,
        "url": row.url,
        "kinds": row.kinds,
        "made_at": moment_text(row.made_at),
        "old_secret_until": row.old_until and moment_text(row.old_until),
        "revoked_at": row.revoked_at and moment_text(row.revoked_at),
    }


def _delivery_shown(row: Row[Any]) -> dict[str, Any]:
    waiting = "dead" if row.next_at is None else "pending"
    return {
        "id": row.id,
        "event": row.event,
        "kind": row.kind,
        "subject": row.subject,
        "state": waiting if row.delivered_at is None else "delivered",
        "attempts": row.attempts,
        "next_at": row.next_at and moment_text(row.next_at),
        "delivered_at": row.delivered_at and moment_text(row.delivered_at),
        "last_answer": row.last_answer,
    }
