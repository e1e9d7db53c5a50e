"""Lists a page at a time, to the end, without loss or repetition; and what filters leave."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from full import fill
from till import Till

# What names a row of each list.
LISTS = {
    "/v1/scales": "id",
    "/v1/moulds": "id",
    "/v1/prices": "entry",
    "/v1/terms": "number",
    "/v1/clients": "id",
    "/v1/quotes": "number",
    "/v1/purchases": "number",
    "/v1/lots": "number",
    "/v1/batches": "number",
    "/v1/bars": "serial",
    "/v1/settlements": "id",
    "/v1/journal": "id",
    "/v1/payments": "id",
    "/v1/stock": "id",
    "/v1/stock-counts": "id",
    "/v1/cash-counts": "id",
    "/v1/money-moves": "id",
}
each_list = pytest.mark.parametrize("path", LISTS)


@pytest.fixture(scope="module")
def full(standing: Any) -> Till:
    till = standing("settled")
    fill(till)
    return till


def names(path: str, rows: list[Any]) -> list[str]:
    return [row[LISTS[path.split("?")[0]]] for row in rows]


def lists_of(till: Till) -> Iterator[str]:
    """Every list that the document tells of; of what has a name in its address, nobody's."""
    for path, methods in till.get("/openapi.json")["paths"].items():
        if any(p.get("name") == "cursor" for p in methods.get("get", {}).get("parameters", [])):
            yield re.sub("{[^}]+}", "X-1", path)


def test_the_lists_that_are_paged_through_here_say_so(full: Till) -> None:
    assert set(LISTS) <= set(lists_of(full))


@each_list
@pytest.mark.parametrize("limit", [1, 2, 3, 200])
def test_pages_put_together_are_the_whole_list(full: Till, path: str, limit: int) -> None:
    whole = full.ask("GET", f"{path}?limit=200")
    assert "Link" not in whole.headers
    expected = names(path, whole.json["items"])
    assert len(set(expected)) == len(expected) >= 3
    pages = list(full.pages(f"{path}?limit={limit}"))
    assert [name for page in pages for name in names(path, page)] == expected
    assert all(len(page) == limit for page in pages[:-1])
    assert 0 < len(pages[-1]) <= limit


def test_a_cursor_of_one_list_is_no_cursor_of_another(full: Till) -> None:
    links = {path: full.ask("GET", f"{path}?limit=1").headers["Link"] for path in LISTS}
    cursors = {path: link.partition("cursor=")[2].partition(">")[0] for path, link in links.items()}
    for path, cursor in cursors.items():
        of_others = {full.refused.get(f"{other}?cursor={cursor}").said for other in LISTS if other != path}
        assert of_others == {(400, "bad-request", "")}, path


def test_what_is_entered_while_someone_pages_is_neither_lost_nor_repeated(at: Any) -> None:
    till = at("opened")
    for name in ("b", "c", "d", "e"):
        till.client(name)
    pages = till.pages("/v1/clients?limit=2")
    seen = names("/v1/clients", next(pages))
    till.client("latecomer")
    seen += [name for page in pages for name in names("/v1/clients", page)]
    assert seen == ["C-5", "C-4", "C-3", "C-2", "C-1"]
    assert names("/v1/clients", next(till.pages("/v1/clients?limit=1"))) == ["C-6"]


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("/v1/quotes?client=C-2", ["Q-2026-0004", "Q-2026-0003"]),
        ("/v1/quotes?client=C-1&state=accepted", ["Q-2026-0002", "Q-2026-0001"]),
        ("/v1/quotes?state=issued", []),
        ("/v1/lots?client=C-2", ["L-2026-0004", "L-2026-0003"]),
        ("/v1/purchases?client=C-1", ["P-2026-0001"]),
        ("/v1/bars?lot=L-2026-0001", ["BAR-2026-0002", "BAR-2026-0001"]),
        ("/v1/settlements?state=posted", ["SD-1"]),
        ("/v1/settlements?lot=L-2026-0003", ["SD-3"]),
        ("/v1/settlements?lot=L-2026-0003&state=posted", []),
        ("/v1/terms?name=counter", ["T-3"]),
    ],
)
def test_a_filter_leaves_what_it_names_also_from_page_to_page(
    full: Till, path: str, found: list[str]
) -> None:
    assert names(path, full.listed(path)) == found
    assert names(path, full.listed(f"{path}&limit=1")) == found


def test_the_journal_can_be_asked_for_one_document(full: Till) -> None:
    entries = full.listed("/v1/journal?document=S-2026-0001")
    assert [e["document"] for e in entries] == ["S-2026-0001"]


def test_expired_quotes_are_found_as_such_though_nobody_touched_them(at: Any, clock: Any) -> None:
    till = at("quoted")
    clock.move(hours=24)
    assert [q["state"] for q in till.listed("/v1/quotes?state=expired")] == ["expired"]
    assert till.listed("/v1/quotes?state=issued") == []


@pytest.mark.parametrize(
    "query", ["limit=0", "limit=201", "limit=-1", "limit=x", "limit=", "cursor=x", "cursor="]
)
def test_a_limit_or_cursor_that_cannot_be_is_400_at_every_list(full: Till, query: str) -> None:
    said = {path: full.refused.get(f"{path}?{query}").said for path in lists_of(full)}
    assert said == dict.fromkeys(said, (400, "bad-request", ""))


@pytest.mark.parametrize(
    "path",
    [
        "/v1/quotes?state=drunk",
        "/v1/settlements?state=accepted",
        "/v1/lots?client=%00",
        "/v1/lots?client=nobody",
    ],
)
def test_a_filter_that_cannot_be_is_400(full: Till, path: str) -> None:
    assert full.refused.get(path).said == (400, "bad-request", "")
