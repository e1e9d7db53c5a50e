"""The API's own pages in a browser: offline, under the policy that they are served with, with their examples."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from shop_page import LOOPBACK, Quiet, running
from staged import house_at
from werkzeug.serving import make_server

from api.http.access import keep_books
from api.http.document import operations

# A long document on a busy machine.
WAIT_MS = 120_000
MOST_SCREENS = 200
TOLD = (
    "document.addEventListener('securitypolicyviolation', e =>"
    " console.error(`policy: ${e.violatedDirective} ${e.blockedURI} ${e.sourceFile}`))"
)


@dataclass
class Opened:
    """The page, where it is from, the calls there are, and what the browser said and asked meanwhile."""

    page: Any
    origin: str
    calls: set[str]
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def complains_of_nothing(self) -> None:
        """Neither an error, nor a breach of the policy, nor a request to anybody but this server."""
        assert self.said == []
        assert f"{self.origin}/openapi.json" in self.asked
        assert [url for url in self.asked if not url.startswith((f"{self.origin}/", "data:"))] == []


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Opened]:
    with house_at("empty", tmp_path) as house:
        app = house.till.app
        keep_books(app, house.books)
        document = house.till.ask("GET", "/openapi.json").json
        calls = {f"{method.upper()} {path}" for path, method, _ in operations(document)}
        with running(make_server(LOOPBACK, 0, app, threaded=True, request_handler=Quiet)) as origin:
            context = browser.new_context()
            context.set_default_timeout(WAIT_MS)
            found = Opened(context.new_page(), origin, calls)
            found.page.on("console", lambda message: found.said.append(message.text))
            found.page.on("pageerror", lambda error: found.said.append(str(error)))
            found.page.on("request", lambda request: found.asked.append(request.url))
            found.page.add_init_script(TOLD)
            found.page.goto(f"{origin}/docs")
            found.page.locator(".opblock").first.wait_for()
            yield found
            context.close()


def test_every_operation_is_shown(opened: Opened) -> None:
    """The page draws what is in sight, so it is read from top to bottom."""
    page, seen = opened.page, set[str]()
    for _ in range(MOST_SCREENS):
        seen.update(page.locator(".opblock-summary").all_inner_texts())
        if page.evaluate("scrollY + innerHeight >= document.documentElement.scrollHeight"):
            break
        page.evaluate("scrollBy(0, innerHeight / 2)")
        page.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    assert {" ".join(text.split()[:2]) for text in seen} == opened.calls
    opened.complains_of_nothing()


def test_an_opened_operation_shows_its_example(opened: Opened) -> None:
    block = opened.page.locator(".opblock-post", has=opened.page.locator("[data-path='/v1/quotes']"))
    block.locator(".opblock-summary-control").click()
    block.locator(".opblock-section-request-body").get_by_text("curb chain, clasp broken").first.wait_for()
    block.locator(".responses-wrapper").get_by_text("Q-2026-0001").first.wait_for()
    assert "Idempotency-Key" in block.inner_text()
    opened.complains_of_nothing()


def test_the_policy_is_kept_by_the_browser(opened: Opened) -> None:
    """Else the list of what it complains of would be empty because nobody looks."""
    opened.page.evaluate("document.body.insertAdjacentHTML('beforeend', '<p style=\"color: red\">no</p>')")
    opened.page.locator("p", has_text="no").last.wait_for()
    assert any("style-src" in said for said in opened.said)
