"""An ETag belongs to one document, and to what was shown of it: found for everything that has one."""

import json
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from full import fill_up, pounds
from stages import BATCH, CLIENT, DRAFT, LOT, QUOTE, ROAD, SETTLEMENT, Clock
from till import Till, grams

SHARED = Path(__file__).parents[2] / "shared"
PATHS = json.loads((SHARED / "openapi.json").read_text("utf-8"))["paths"]
HAVE_ETAGS = [
    path
    for path, methods in PATHS.items()
    if "ETag" in methods.get("get", {}).get("responses", {}).get("200", {}).get("headers", {})
]
GUARDED = [
    (method.upper(), path)
    for path, methods in PATHS.items()
    for method, operation in methods.items()
    if method != "parameters" and any(p.get("name") == "If-Match" for p in operation.get("parameters", ()))
]
# Told with an answer, and no part of the thing; a key that is used doesn't change.
BESIDE = ("notices", "last_used_at")
Seen = dict[str, tuple[str, str]]


def addresses(till: Till, path: str) -> list[str]:
    """Every address of such a path: its list names what there is."""
    list_of, _, rest = path.partition("/{")
    rows = till.listed(f"{list_of}?limit=200")
    parameter, _, rest = rest.partition("}")
    named_by = parameter if parameter in ("number", "serial") else "id"
    return [f"{list_of}/{row[named_by]}{rest}" for row in rows]


def seen(till: Till, paths: list[str] = HAVE_ETAGS) -> Seen:
    """Address → what is shown there, and its ETag; but for what this key may not see."""
    found = {}
    for address in (address for path in paths for address in addresses(till, path)):
        answer = till.ask("GET", address)
        if answer.status_code == 200:
            shown = {name: value for name, value in answer.json.items() if name not in BESIDE}
            found[address] = json.dumps(shown), answer.headers["ETag"]
    return found


@pytest.fixture(scope="module")
def full(standing: Any) -> Till:
    till: Till = standing("settled")
    fill_up(till)
    return till


@pytest.fixture(scope="module")
def tags(full: Till) -> Seen:
    return seen(full)


def test_what_can_change_and_is_shown_is_among_them() -> None:
    kinds = {path.split("/")[2] for path in HAVE_ETAGS}
    assert kinds >= {
        *(
            "quotes",
            "lots",
            "batches",
            "silver-recoveries",
            "settlements",
            "bars",
            "keys",
            "hooks",
            "clients",
        ),
        *("purchases", "credit-notes", "bar-sales"),
    }


@pytest.mark.parametrize("path", HAVE_ETAGS)
def test_the_etag_of_one_document_is_that_of_no_other(full: Till, tags: Seen, path: str) -> None:
    mine = addresses(full, path)
    assert len(mine) > 1, "one alone shows little"
    of = Counter(tag for _, tag in tags.values())
    assert {address: of[tags[address][1]] for address in mine} == dict.fromkeys(mine, 1)


def shown_at(method_path: str) -> str:
    """Where that is shown which a call does something to."""
    return method_path if "get" in PATHS[method_path] else method_path[: method_path.rfind("}") + 1]


@pytest.mark.parametrize(("method", "path"), GUARDED)
def test_nothing_is_changed_on_the_etag_of_another(full: Till, tags: Seen, method: str, path: str) -> None:
    one, *others = addresses(full, shown_at(path))
    call = one + path.removeprefix(shown_at(path))
    for other in (*others, f"/v1/lots/{LOT}"):
        refusal = full.refused.sent(method, call, {}, If_Match=tags[other][1])
        assert refusal.said == (412, "changed-since-seen", ""), other


def test_keys_that_are_shown_the_same_share_an_etag_and_others_do_not(
    full: Till, tags: Seen, keys: dict[str, str]
) -> None:
    apart = set()
    for scope in ("quote", "work", "settle", "read"):
        till = full.with_key(keys[scope])
        for address, (shown, tag) in tags.items():
            answer = till.ask("GET", address)
            if answer.status_code != 403:
                theirs = {name: value for name, value in answer.json.items() if name not in BESIDE}
                assert (json.dumps(theirs) == shown) is (answer.headers["ETag"] == tag), (scope, address)
                if json.dumps(theirs) != shown:
                    apart.add((scope, address.rpartition("/")[0]))
    # What a bought bar cost is not for who weighs it.
    assert ("work", "/v1/bars") in apart


def test_what_a_concession_costs_changes_the_etag_for_those_who_see_it(at: Any, keys: dict[str, str]) -> None:
    till, path = at("quoted"), f"/v1/quotes/{QUOTE}"
    conceded = {"replaces": "payout_rate", "metal": "gold", "rate": "0.99", "reason": "x", "who": "Olive"}
    new = till.post(f"{path}/concessions", conceded, till.get(path).etag)
    path = f"/v1/quotes/{new['number']}"
    clerk = till.with_key(keys["quote"])
    assert ("concessions_cost" in till.get(path), "concessions_cost" in clerk.get(path)) == (True, False)
    assert till.get(path).etag != clerk.get(path).etag
    assert clerk.ask("GET", path, If_None_Match=till.get(path).etag).status_code == 200


def together(before: Seen, after: Seen) -> dict[str, bool]:
    """Of each address at which something changed, or its ETag did: whether both did."""
    both = {a: (before[a][0] != after[a][0], before[a][1] != after[a][1]) for a in before if a in after}
    return {address: shown == tag for address, (shown, tag) in both.items() if shown or tag}


def test_on_the_whole_road_an_etag_changes_with_what_is_shown_and_only_then(standing: Any) -> None:
    stages = [stage for stage, _, _ in ROAD]
    walked = [seen(standing(stage)) for stage in stages]
    changed: Counter[str] = Counter()
    for before, after in pairwise(walked):
        told = together(before, after)
        assert all(told.values()), told
        changed.update(address.split("/")[2] for address in told)
    assert set(changed) == {"quotes", "lots", "batches", "bars", "settlements"}


def money(till: Till) -> None:
    paid = till.post(f"/v1/settlements/{SETTLEMENT}/payments", {"amount": pounds("1"), "paid_in": "cash"})
    till.post(f"/v1/settlements/{SETTLEMENT}/payments/{paid['id']}/reversal", {"reason": "a slip"})
    till.post(f"/v1/settlements/{SETTLEMENT}/payments", {"amount": pounds("2"), "paid_in": "cash"})


def another_name(till: Till) -> None:
    path = f"/v1/clients/{CLIENT}"
    till.call("PATCH", path, {"name": "Ann Another"}, till.get(path).etag)


def handed_over(till: Till) -> None:
    body = {"who": "Ann Other", "reading": grams("20.03"), "scale": "counter"}
    till.post("/v1/bars/BAR-2026-0001/handover", body)


def frozen(till: Till) -> None:
    till.post(f"/v1/lots/{LOT}/freeze", {"by": "the court", "reason": "stolen", "reference": "77/26"})


def a_bar_sale_undone(till: Till) -> None:
    serial = till.listed("/v1/bar-sales")[0]["bar"]
    till.post(f"/v1/bars/{serial}/sale/reversal", {"reason": "a slip"})


def reconciled_elsewhere(till: Till) -> None:
    till.reconcile("B-2026-0004")


# What happens, and what it shows in at least.
HAPPENINGS: list[tuple[Callable[[Till], None], set[str]]] = [
    (money, {f"/v1/settlements/{DRAFT}"}),
    (another_name, {f"/v1/clients/{CLIENT}", "/v1/credit-notes/N-2026-0001"}),
    (handed_over, {"/v1/bars/BAR-2026-0001"}),
    (frozen, {f"/v1/lots/{LOT}"}),
    (a_bar_sale_undone, {"/v1/bar-sales/I-2026-0002"}),
    # One line of drift for all accounts of a metal.
    (reconciled_elsewhere, {"/v1/batches/B-2026-0004", f"/v1/batches/{BATCH}/reconciliation"}),
]


@pytest.fixture(scope="module")
def going_on(stages: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Till]:
    till = stages.till("settled", tmp_path_factory.mktemp("going on") / "books.sqlite3", Clock())
    fill_up(till)
    yield till
    till.books.close()


@pytest.mark.parametrize(("happens", "shows_in"), HAPPENINGS, ids=lambda part: getattr(part, "__name__", ""))
def test_whatever_happens_an_etag_changes_with_what_is_shown(
    going_on: Till, happens: Callable[[Till], None], shows_in: set[str]
) -> None:
    before = seen(going_on)
    happens(going_on)
    told = together(before, seen(going_on))
    assert all(told.values()), told
    assert shows_in <= told.keys()


def test_a_quote_that_expired_is_shown_anew_and_whoever_saw_it_issued_is_told_that_it_expired(
    at: Any, clock: Any
) -> None:
    till, path = at("quoted"), f"/v1/quotes/{QUOTE}"
    issued = till.get(path)
    clock.move(hours=25)
    again = till.ask("GET", path, If_None_Match=issued.etag)
    assert (again.status_code, again.json["state"]) == (200, "expired")
    for tag in (issued.etag, again.headers["ETag"]):
        assert till.refused.accept(issued, seen=tag).said == (409, "quote-expired", "")
    till.prices(gold="61.20", silver="0.74")
    assert till.post(f"{path}/revisions", {}, issued.etag)["revises"] == QUOTE


def test_a_quote_that_changed_and_expired_since_is_told_to_have_changed(at: Any, clock: Any) -> None:
    till, path = at("quoted"), f"/v1/quotes/{QUOTE}"
    issued = till.get(path)
    till.withdraw(issued)
    clock.move(hours=25)
    assert till.refused.accept(issued).said == (412, "changed-since-seen", "")
