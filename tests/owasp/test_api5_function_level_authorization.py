"""API5:2023 Broken Function Level Authorization (OWASP API Security Top 10, 2023 edition).

Each call says in the document which scopes open it (`x-scopes`), and is opened by these alone, whatever
method, header or spelling of its path is tried. `read` reads all but keys and hooks and changes nothing;
`quote` sees nothing of the house's own accounts; keys and hooks are the owner's.
"""

from typing import Any

import pytest
from attacked import address, operations
from staged import House
from till import everything

from settle.books.access import SCOPES

OF_THE_HOUSE = (
    "/v1/journal",
    "/v1/position",
    "/v1/trial-balance",
    "/v1/register",
    "/v1/stock",
    "/v1/periods",
    "/v1/evidence-review",
)
OWNERS = ("/v1/keys", "/v1/keys/K-1", "/v1/hooks")


@pytest.mark.parametrize("scope", SCOPES)
def test_a_scope_opens_the_calls_that_the_document_says_and_no_other(standing: House, scope: str) -> None:
    """Over documents that are there: a refusal doesn't hide behind what is not found."""
    before, opened, refused = everything(standing.till.file), 0, 0
    for (method, path), operation in operations(standing).items():
        allowed = operation.get("x-scopes", [])
        if not operation["security"]:
            assert allowed == [], path
            continue
        asked = ("GET", "HEAD") if method == "GET" else (method,)
        for verb in asked if scope not in allowed or method == "GET" else ():
            answer = standing.as_(scope).ask(verb, address(path))
            if scope in allowed:
                opened += 1
                assert answer.status_code in (200, 400, 404), (verb, path)
            else:
                refused += 1
                assert answer.status_code == 403, (verb, path)
    assert everything(standing.till.file) == before
    assert opened + refused > 90


def test_nothing_that_changes_the_house_is_opened_by_reading(standing: House) -> None:
    for (method, path), operation in operations(standing).items():
        if method != "GET" and "read" in operation.get("x-scopes", []):
            assert path.endswith("/comparison"), path  # it compares and keeps nothing


@pytest.mark.parametrize("path", OF_THE_HOUSE)
def test_who_quotes_sees_nothing_of_the_houses_accounts(standing: House, path: str) -> None:
    for scope in ("estimate", "quote", "work", "price", "settle"):
        assert standing.as_(scope).ask("GET", path).status_code == 403, scope
    assert standing.as_("read").ask("GET", path).status_code in (200, 400)


def test_keys_and_hooks_are_the_owners_alone(standing: House) -> None:
    for scope in set(SCOPES) - {"owner"}:
        for path in OWNERS:
            assert standing.as_(scope).ask("GET", path).status_code == 403, (scope, path)
        made = standing.as_(scope).ask("POST", "/v1/keys", {"name": "more", "scopes": ["owner"]})
        assert made.status_code == 403, scope


@pytest.mark.parametrize(
    "headers",
    [
        {"X_Http_Method_Override": "GET"}, {"X_Http_Method": "DELETE"}, {"X_Method_Override": "DELETE"},
        {"X_Original_Url": "/v1/reference/units"}, {"X_Rewrite_Url": "/livez"}, {"X_Forwarded_For": "127.0.0.1"},
        {"X_Forwarded_Prefix": "/v1/reference"}, {"Settle_Person": "owner"}, {"X_Scopes": "owner"},
        {"Forwarded": "for=127.0.0.1;by=127.0.0.1"}, {"Host": "localhost"}, {"Origin": "null"},
    ],
    ids=lambda headers: next(iter(headers)),
)  # fmt: skip
def test_no_header_opens_a_call(standing: House, headers: dict[str, str]) -> None:
    before = everything(standing.till.file)
    for method, path in (("GET", "/v1/keys"), ("POST", "/v1/keys"), ("DELETE", "/v1/keys/K-1")):
        assert standing.as_("quote").ask(method, path, **headers).status_code == 403, (method, path)
    assert everything(standing.till.file) == before


@pytest.mark.parametrize(
    "path",
    [
        "/v1/keys/", "/v1//keys", "//v1/keys", "/V1/KEYS", "/v1/Keys", "/v1/./keys", "/v1/quotes/../keys", "/v1/keys;a=b",
        "/v1/keys%00", "/v1/keys%20", "/v1%2fkeys", "/%76%31/keys", "/v1/keys?scope=owner", "/v1/keys#x", "/v1/keys.json",
        "/v1/quotes/%2e%2e/keys", "/v1/quotes/..%2fkeys", "/v2/keys", "/keys", "/v1/keys/K-1%2fsecret", "\\v1\\keys",
    ],
)  # fmt: skip
def test_no_spelling_of_a_path_opens_a_call(standing: House, path: str) -> None:
    for scope in ("estimate", "quote", "read"):
        answer = standing.as_(scope).ask("GET", path)
        assert answer.status_code in (403, 404, 405), (scope, answer.status_code)
        assert b"last_used_at" not in answer.get_data()


def test_a_key_of_several_scopes_opens_what_each_opens_and_no_more(house: House) -> None:
    made = house.till.post("/v1/keys", {"name": "till", "scopes": ["quote", "price"]})
    till = house.till.with_key(made["secret"])

    def opens(path: str) -> int:
        answer: Any = till.ask("GET", path)
        return int(answer.status_code)

    assert [opens(p) for p in ("/v1/quotes", "/v1/prices", "/v1/batches", "/v1/settlements", "/v1/journal")] == [
        200, 200, 403, 403, 403,
    ]  # fmt: skip
