"""Metrics: by setting alone, by route, never by what was filled into it."""

from collections.abc import Callable
from typing import Any

import pytest
from prometheus_client.parser import text_string_to_metric_families
from staged import House
from stages import LOT, asked


@pytest.fixture
def watched(with_settings: Callable[..., House]) -> House:
    return with_settings(metrics=True)


def numbers(house: House) -> dict[tuple[Any, ...], float]:
    """Name and labels, in the order of the labels' names, → value."""
    answer = house.till.ask("GET", "/metrics", Authorization=None)
    assert answer.status_code == 200
    families = text_string_to_metric_families(answer.get_data(as_text=True))
    return {(s.name, *(v for _, v in sorted(s.labels.items()))): s.value for f in families for s in f.samples}


def test_without_the_setting_there_are_none(with_settings: Callable[..., House]) -> None:
    assert with_settings().till.ask("GET", "/metrics").status_code == 404


def test_requests_are_counted_by_route_and_status(watched: House) -> None:
    watched.till.get(f"/v1/lots/{LOT}")
    watched.till.get(f"/v1/lots/{LOT}")
    watched.till.ask("GET", "/v1/lots/L-404")
    found = numbers(watched)
    assert found["settle_requests_total", "GET", "/v1/lots/<number>", "200"] == 2
    assert found["settle_requests_total", "GET", "/v1/lots/<number>", "404"] == 1
    assert found["settle_request_duration_seconds_count", "GET", "/v1/lots/<number>"] == 3


def test_open_quotes_and_posted_settlements_are_read_from_the_books(watched: House) -> None:
    before = numbers(watched)
    assert before["settle_posted_settlements",] == 1
    watched.till.quote(asked())
    assert numbers(watched)["settle_open_quotes",] == before["settle_open_quotes",] + 1
    watched.clock.move(days=400)
    assert numbers(watched)["settle_open_quotes",] == 0


def test_a_settlement_that_was_reversed_was_posted_all_the_same(watched: House) -> None:
    etag = watched.till.ask("GET", "/v1/settlements/S-2026-0001").headers["ETag"]
    watched.till.post("/v1/settlements/S-2026-0001/reversal", {"reason": "a slip"}, etag)
    assert numbers(watched)["settle_posted_settlements",] == 1


def test_each_app_counts_for_itself(with_settings: Callable[..., House]) -> None:
    one, other = with_settings(metrics=True), with_settings(metrics=True)
    one.till.get("/v1/lots")
    assert ("settle_requests_total", "GET", "/v1/lots", "200") in numbers(one)
    assert ("settle_requests_total", "GET", "/v1/lots", "200") not in numbers(other)


def test_words_that_a_client_made_up_make_no_series_of_their_own(watched: House) -> None:
    for name in ("a", "b"):
        watched.till.ask("GET", f"/nowhere/{name}")
        watched.till.ask(f"METHOD-{name}", "/livez")
    series = {key for key in numbers(watched) if key[0] == "settle_requests_total"}
    assert ("settle_requests_total", "GET", "none", "404") in series
    assert len([key for key in series if "none" in key]) == 2
