"""Answers kept under an Idempotency-Key, in the transaction of the work that they report."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sqlalchemy import delete, select

from settle.books.columns import Inside
from settle.books.tables import idempotency
from settle.books.work import Work

KEPT_FOR = timedelta(hours=48)


@dataclass(frozen=True, slots=True)
class Asked:
    """What makes two requests the same one: access key, method, path and Idempotency-Key."""

    key_id: str
    method: str
    path: str
    idempotency_key: str


@dataclass(frozen=True, slots=True)
class Kept:
    """The body of a first request, as parsed, and the answer that it got."""

    body: Any
    status: int
    answer: bytes
    headers: Mapping[str, str]


def kept_answer(work: Work, asked: Asked) -> Kept | None:
    """What this request was answered before, or None."""
    c = idempotency.c
    row = work.connection.execute(
        select(c.body, c.status, c.answer, c.headers).where(
            c.key_id == asked.key_id,
            c.method == asked.method,
            c.path == asked.path,
            c.idempotency_key == asked.idempotency_key,
        )
    ).first()
    return None if row is None else Kept(row.body, row.status, row.answer, row.headers)


def keep_answer(work: Work, asked: Asked, kept: Kept) -> None:
    """Keep an answer, and forget those that are older than `KEPT_FOR`."""
    work.connection.execute(delete(idempotency).where(idempotency.c.made_at < work.now - KEPT_FOR))
    work.connection.execute(
        idempotency.insert().values(
            key_id=asked.key_id,
            method=asked.method,
            path=asked.path,
            idempotency_key=asked.idempotency_key,
            body=kept.body,
            status=kept.status,
            answer=kept.answer,
            headers=dict(kept.headers),
            made_at=work.now,
        )
    )


def forget(work: Work, client: str) -> None:
    """Forget every answer that names a client: it may say more of him than his id."""
    named = Inside(idempotency.c.answer, f'"{client}"'.encode())
    work.connection.execute(delete(idempotency).where(named))
