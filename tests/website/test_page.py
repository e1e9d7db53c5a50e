"""The example page, as a visitor meets it."""

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

import pytest
from shop_page import Shop

SMALLEST_TARGET = 44
TOO_MANY = "Too many at once. Please wait"


@pytest.fixture
def shop(opened: Callable[..., Any]) -> Iterator[Shop]:
    with opened() as found:
        yield found


@pytest.fixture
def page(tab: Any, shop: Shop) -> Any:
    tab.goto(shop.page)
    return tab


def enter(page: Any, weight: str, carat: str = "9", what: str = "", piece: int = 0) -> None:
    page.get_by_label("What is it?").nth(piece).fill(what)
    page.get_by_label("Carat").nth(piece).select_option(carat)
    page.get_by_label("Weight in grams").nth(piece).fill(weight)


def ask(page: Any) -> None:
    page.get_by_role("button", name="Show the estimate").click()


CASES = ("low", "likely", "high")


def shown(page: Any) -> list[Decimal]:
    """The money of the three cases, as the page says it."""
    page.locator("#answer").wait_for()
    texts = [page.locator(f"#{name}").inner_text() for name in CASES]
    return [Decimal(text.replace("£", "").replace(",", "")) for text in texts]


def reckoned(shop: Shop, *items: tuple[str, str]) -> list[Decimal]:
    """What the house answers to the same question."""
    gross = [{"amount": weight, "unit": "g"} for weight, _ in items]
    asked = [
        {"karat": carat, "evidence": "hallmark", "gross": of}
        for (_, carat), of in zip(items, gross, strict=True)
    ]
    cases = shop.house.as_("estimate").estimate({"items": asked})["cases"]
    return [Decimal(cases[name]["client_gets"]["money"]["amount"]) for name in CASES]


def test_a_visitor_sees_what_the_house_reckons(page: Any, shop: Shop) -> None:
    enter(page, "131.42", "18")
    ask(page)
    found = shown(page)
    assert found == reckoned(shop, ("131.42", "18"))
    assert found[0] < found[1] < found[2]


def test_a_ring_too_light_to_refine_is_told_so_in_words_and_no_sum_below_zero_is_shown(page: Any) -> None:
    enter(page, "1.2", "9")
    ask(page)
    page.locator("#answer").wait_for()
    told = page.locator("#worth").inner_text()
    assert told.startswith("Refining this would cost more than it brings: there would be due charges of £")
    assert not page.locator("#cases").is_visible()
    assert "-£" not in page.locator("#answer").inner_text()
    assert "−£" not in page.locator("#answer").inner_text()


def test_metal_is_never_shown_without_the_money_nor_money_without_the_metal(page: Any) -> None:
    gets = {
        "bars": [{"metal": "gold", "nominal": {"g": "10.000"}, "fineness": "999", "count": 3}],
        "shot": {}, "metal_account": {"silver": {"g": "5.391"}}, "drillings": {},
        "money": {"amount": "671.01", "currency": "GBP"}, "worth": {"amount": "3210.00", "currency": "GBP"},
    }  # fmt: skip
    told = page.evaluate("gets => inWords(gets)", gets)
    assert told == "3 bars of 10 g gold, 5.391 g silver on account, £671.01"
    owes = gets | {"money": {"amount": "-157.83", "currency": "GBP"}}
    assert page.evaluate("gets => inWords(gets)", owes).endswith("on account, and you would pay £157.83")


def test_pieces_are_added_and_removed_and_numbered_anew(page: Any, shop: Shop) -> None:
    enter(page, "500")
    for piece, weight in ((1, "31.42"), (2, "12.5")):
        page.get_by_role("button", name="Add another piece").click()
        enter(page, weight, "18", piece=piece)
    page.get_by_role("button", name="Remove this piece").first.click()
    assert page.locator("legend").all_inner_texts() == ["Piece 1", "Piece 2"]
    ask(page)
    assert shown(page) == reckoned(shop, ("31.42", "18"), ("12.5", "18"))


def test_the_last_piece_cannot_be_removed(page: Any) -> None:
    assert not page.get_by_role("button", name="Remove this piece").is_visible()


def test_a_fault_stands_beside_its_field_and_the_field_is_gone_to(page: Any) -> None:
    enter(page, "10")
    page.get_by_role("button", name="Add another piece").click()
    enter(page, "12,5", piece=1)
    ask(page)
    field = page.get_by_label("Weight in grams").nth(1)
    page.locator("[aria-invalid]").wait_for()
    assert field.get_attribute("aria-invalid") == "true"
    assert field.evaluate("e => e === document.activeElement")
    told = page.locator(f"#{field.get_attribute('aria-describedby')}").inner_text()
    assert "decimal" in told
    assert not page.locator("#answer").is_visible()


def test_a_fault_that_was_mended_is_gone(page: Any) -> None:
    enter(page, "ten")
    ask(page)
    page.locator("[aria-invalid]").wait_for()
    enter(page, "10")
    ask(page)
    shown(page)
    assert page.locator("[aria-invalid], .fault").count() == 0


def test_who_works_by_keyboard_alone_gets_there_and_is_told(page: Any) -> None:
    page.get_by_label("What is it?").focus()
    for keys in ("Tab", "Tab", "1", "0", "Enter"):
        page.keyboard.press(keys)
    shown(page)
    assert page.evaluate("document.activeElement.id") == "answer-title"
    assert page.locator("#answer").get_attribute("aria-live") == "polite"


def test_every_field_has_a_label_and_every_button_a_name(page: Any) -> None:
    fields = page.locator("input:visible, select:visible")
    assert fields.count() == 4
    assert fields.evaluate_all("all => all.every(e => e.labels.length === 1 && e.labels[0].innerText.trim())")
    buttons = page.locator("button:visible")
    assert buttons.evaluate_all("all => all.length > 1 && all.every(e => e.innerText.trim())")
    assert page.locator("html").get_attribute("lang") == "en"
    assert page.locator("h1").count() == 1


def test_it_fits_a_small_phone_and_can_be_met_with_a_thumb(page: Any) -> None:
    enter(page, "31.42")
    ask(page)
    shown(page)
    page.get_by_text("What you should know").click()
    width = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    assert width[0] <= width[1]
    heights = page.locator("input:visible, select:visible, button:visible, summary:visible").evaluate_all(
        "all => all.map(e => e.getBoundingClientRect().height)"
    )
    assert len(heights) > 5
    assert min(heights) >= SMALLEST_TARGET


def test_what_must_be_told_is_told_with_whose_rule_it_is(page: Any, shop: Shop) -> None:
    enter(page, "31.42")
    ask(page)
    shown(page)
    page.get_by_text("What you should know").click()
    item = {"karat": "9", "evidence": "hallmark", "gross": {"amount": "31.42", "unit": "g"}}
    notices = shop.house.as_("estimate").estimate({"items": [item]})["notices"]
    assert page.locator("#notices li").all_inner_texts() == [f"{n['text']} ({n['source']})" for n in notices]


def test_a_visitor_who_asks_too_often_is_told_how_long_to_wait(tab: Any, opened: Callable[..., Any]) -> None:
    with opened(estimates_per_address=1) as shop:
        tab.goto(shop.page)
        enter(tab, "10")
        ask(tab)
        shown(tab)
        ask(tab)
        tab.get_by_text(TOO_MANY).wait_for()
        assert tab.locator("#trouble").inner_text().split("wait ")[1].split()[1] in ("second", "seconds")


def test_the_key_does_not_work_from_another_page(tab: Any, opened: Callable[..., Any]) -> None:
    with opened(page_of_another=True) as shop:
        tab.goto(shop.page)
        enter(tab, "10")
        ask(tab)
        tab.get_by_text("The estimate can't be had right now.").wait_for()
        assert not tab.locator("#answer").is_visible()


def test_a_house_that_cannot_be_reached_is_told_and_what_was_entered_stays(page: Any) -> None:
    page.route("**/v1/estimates", lambda route: route.abort())
    enter(page, "31.42", what="curb chain")
    ask(page)
    page.get_by_text("The estimate can't be had right now.").wait_for()
    assert page.get_by_label("What is it?").input_value() == "curb chain"


def test_a_visitors_words_are_never_a_part_of_the_page(page: Any) -> None:
    evil = "<img src=x onerror=document.title='taken'>"
    enter(page, evil, what=evil)
    ask(page)
    page.locator(".fault").wait_for()
    assert page.locator("main img").count() == 0
    assert "taken" not in page.title()


def test_the_browser_finds_nothing_to_complain_of(tab: Any, shop: Shop) -> None:
    said: list[str] = []
    tab.on("console", lambda message: said.append(message.text))
    tab.on("pageerror", lambda error: said.append(str(error)))
    tab.goto(shop.page)
    enter(tab, "31.42")
    ask(tab)
    shown(tab)
    assert said == []


def test_nothing_is_asked_of_anyone_but_the_page_and_the_house(tab: Any, shop: Shop) -> None:
    asked: list[str] = []
    tab.on("request", lambda request: asked.append(request.url))
    tab.goto(shop.page)
    enter(tab, "31.42")
    ask(tab)
    shown(tab)
    assert len([url for url in asked if url.endswith("/v1/estimates")]) == 1
    assert [url for url in asked if not url.startswith(("http://127.0.0.1:", "data:"))] == []
