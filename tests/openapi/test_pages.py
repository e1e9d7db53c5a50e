"""The API's pages: offline, under a strict policy."""

import re
from typing import Any

import pytest
from staged import House


def got(house: House, path: str) -> Any:
    return house.till.ask("GET", path, Authorization=None)


def test_the_page_has_no_script_of_its_own_and_asks_nobody_else(house: House) -> None:
    page = got(house, "/docs")
    assert page.mimetype == "text/html"
    policy = page.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert re.findall(r"<script[^>]*>(.*?)</script>", page.text) == ["", ""]
    assert not re.search(r"https?://|style=|\bon\w+=", page.text)


def test_every_file_that_the_page_names_is_served_here(house: House) -> None:
    named = re.findall(r'(?:src|href)="([^"]+)"', got(house, "/docs").text)
    assert len(named) == 4
    for path in named:
        answer = got(house, f"/{path}")
        assert answer.status_code == 200, path
        assert len(answer.data) > 100, path
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_the_pages_show_the_document_of_this_server(house: House) -> None:
    script = got(house, "/docs/open.js").text
    assert 'url: "openapi.json"' in script
    # Scopes and problem types stand in `x-…` members, which the pages show on demand alone.
    assert "showExtensions: true" in script


@pytest.mark.parametrize("name", ["swagger-ui.js", "..%2Fapp.py", "oauth2-redirect.html"])
def test_nothing_else_is_served(house: House, name: str) -> None:
    assert got(house, f"/docs/{name}").status_code == 404
