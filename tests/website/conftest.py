"""A shop's page on one port, the house on another, and a real browser between them."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from http.server import ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from shop_page import LOOPBACK, Files, Quiet, Shop, running, settings_of
from staged import house_at
from werkzeug.serving import make_server

from api.app import create_app
from api.settings import Limits, Settings

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """Open a shop; `page_of_another` has the page on an origin that the key was not made for."""
    with house_at("opened", tmp_path) as house:

        @contextmanager
        def open_shop(*, page_of_another: bool = False, **limits: int) -> Iterator[Shop]:
            wide = Limits(**{"estimates_per_address": 1000, **limits})
            app = create_app(Settings(str(house.books.engine.url), limits=wide), house.clock, house.books)
            server = make_server(LOOPBACK, 0, app, threaded=True, request_handler=Quiet)
            files = ThreadingHTTPServer((LOOPBACK, 0), partial(Files, ""))
            page = f"http://{LOOPBACK}:{files.server_port}"
            origin = "https://www.another.example" if page_of_another else page
            made = {"name": "page", "scopes": ["estimate"], "origins": [origin]}
            key = house.till.post("/v1/keys", made)["secret"]
            with running(server) as address, running(files) as page:
                files.RequestHandlerClass = partial(Files, settings_of(address, key))  # type: ignore[assignment]
                yield Shop(house.with_app(app), page)

        yield open_shop


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    if not CHROMIUM.exists():
        pytest.skip(f"no {CHROMIUM}: the example page was not tried in a browser")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield found
        found.close()


@pytest.fixture
def tab(browser: Any) -> Iterator[Any]:
    """A page of a small phone."""
    context = browser.new_context(viewport={"width": 320, "height": 568}, has_touch=True, locale="en-GB")
    context.set_default_timeout(15_000)
    yield context.new_page()
    context.close()
