"""One shop a session; its documents as JSON, by kind of paper."""

from collections.abc import Callable, Iterator

import pytest
import stores

from api.app import BLUEPRINTS, create_app
from api.resources import papers
from api.settings import Settings
from settle.books.access import make_key
from settle.books.work import THE_COMMAND, open_books

from .house import NOW, SHOP, House, Json, walk


@pytest.fixture(scope="session")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[], House]]:
    """A house with new books, as many as are asked for."""
    open_ones = []

    def open_house() -> House:
        url = stores.migrated(tmp_path_factory.mktemp("paper") / "books.sqlite3")
        books = open_books(url, lambda: NOW)
        open_ones.append(books)
        with books.writing(THE_COMMAND) as work:
            key = make_key(work, "owner", ["owner"])
        blueprints = tuple(dict.fromkeys((*BLUEPRINTS, papers.blp)))
        app = create_app(Settings(database_url=url, shop=SHOP), lambda: NOW, books, blueprints)
        return House(app.test_client(), books, key)

    yield open_house
    for books in open_ones:
        books.close()


@pytest.fixture(scope="session")
def house(opened: Callable[[], House]) -> House:
    return walk(opened())


@pytest.fixture(scope="session")
def documents(house: House) -> dict[str, Json]:
    """One document of every kind."""
    return {kind: house.shown(path) for kind, path in addresses(house).items()}


def addresses(house: House) -> dict[str, str]:
    """Where the document of each kind stands."""
    n = house.names
    return {
        "quote": f"/v1/quotes/{n['quote']}",
        "receipt": f"/v1/lots/{n['lot']}",
        "report": f"/v1/lots/{n['lot']}/assays",
        "bar_list": f"/v1/lots/{n['lot']}/bars",
        "settlement": f"/v1/settlements/{n['settlement']}",
        "reconciliation": f"/v1/batches/{n['batch']}/reconciliation",
        "purchase": f"/v1/purchases/{n['purchase']}",
        "bar_sale": f"/v1/bar-sales/{n['bar_sale']}",
        "certificate": f"/v1/bars/{n['bar']}/certificate",
        "credit_note": f"/v1/credit-notes/{n['credit_note']}",
        "account": "/v1/clients/C-1/account",
        "parting_plan": f"/v1/batches/{n['batch']}/parting-plan",
    }
