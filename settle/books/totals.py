"""How much stands in the books, for whoever watches over the server."""

from sqlalchemy import func, select

from settle.books.tables import quotes, settlements
from settle.books.work import Work


def totals(work: Work) -> dict[str, tuple[str, int]]:
    """Name → what it counts, and how many there are."""
    is_open = (quotes.c.state == "issued", quotes.c.valid_until > work.now)
    # A reversed settlement was posted: what was posted is never less.
    is_posted = settlements.c.number.is_not(None)
    asked = {
        "open_quotes": ("Quotes that can be accepted", select(func.count()).where(*is_open)),
        "posted_settlements": (
            "Settlements posted, reversed ones too",
            select(func.count()).where(is_posted),
        ),
    }
    return {
        name: (about, work.connection.execute(query).scalar_one()) for name, (about, query) in asked.items()
    }
