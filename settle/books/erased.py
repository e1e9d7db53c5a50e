"""Clients whose data was erased: nothing goes on with them, as nobody knows any more who they were."""

from sqlalchemy import select

from settle.books.tables import clients
from settle.books.work import Work
from settle.reckoning.problems import Fault, Refused

ENTERED_ANEW = "a client entered anew"


def refuse_erased(work: Work, client: str | None) -> None:
    """Refuse what would go on with a client whose data was erased."""
    query = select(clients.c.id).where(clients.c.id == client, clients.c.erased_at.is_not(None))
    if client is not None and work.connection.execute(query).first() is not None:
        raise Refused(Fault("wrong-state", "", f"the data of {client} was erased", ENTERED_ANEW))
