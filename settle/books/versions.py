"""Versions of batches and silver recoveries, raised wherever something changed that their account rests on.

A batch whose bath is in a recovery changes with it, and the recovery with the batch.
"""

from collections.abc import Iterable

from sqlalchemy import select

from settle.books.tables import batches, recoveries, recovery_batches
from settle.books.work import Work


def raise_batch(work: Work, number: str) -> None:
    """Something about a batch changed, and so about the recovery that its bath is in."""
    _raise_batches(work, [number])
    of = recovery_batches.c
    recovery = work.connection.execute(select(of.recovery).where(of.batch == number)).scalar()
    if recovery is not None:
        _raise_recovery(work, recovery)


def raise_recovery(work: Work, number: str) -> None:
    """Something about a silver recovery changed, and so about each of its batches."""
    _raise_recovery(work, number)
    of = recovery_batches.c
    _raise_batches(work, work.connection.execute(select(of.batch).where(of.recovery == number)).scalars())


def _raise_batches(work: Work, numbers: Iterable[str]) -> None:
    of = batches.c
    work.connection.execute(
        batches.update().where(of.number.in_(list(numbers))).values(version=of.version + 1)
    )


def _raise_recovery(work: Work, number: str) -> None:
    of = recoveries.c
    work.connection.execute(recoveries.update().where(of.number == number).values(version=of.version + 1))
