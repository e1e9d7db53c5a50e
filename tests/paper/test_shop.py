"""The shop's identity comes from settings."""

from pathlib import Path

import pytest

from api.settings import read_settings


def test_everything_on_the_head_of_a_paper_is_set_from_outside(tmp_path: Path) -> None:
    mark = tmp_path / "mark.svg"
    mark.write_text('<svg xmlns="http://www.w3.org/2000/svg"/>')
    shop = read_settings(
        {
            "SETTLE_SHOP_NAME": "Lantern Yard Refining",
            "SETTLE_SHOP_ADDRESS": "4 Lantern Yard | Nowhereford",
            "SETTLE_SHOP_TAX_IDENTITY": "GB 000 0000 00",
            "SETTLE_SHOP_MARK": str(mark),
            "SETTLE_SHOP_LOCALE": "de-AT",
            "SETTLE_SHOP_PAPER": "Letter",
            "SETTLE_SHOP_FONTS": str(tmp_path),
        }
    ).shop
    assert (shop.name, shop.address) == ("Lantern Yard Refining", ("4 Lantern Yard", "Nowhereford"))
    assert (shop.locale, shop.paper, shop.fonts) == ("de_AT", "letter", str(tmp_path))
    assert shop.mark.startswith("<svg")


def test_a_shop_without_a_name_of_its_own_has_the_houses() -> None:
    assert read_settings({"SETTLE_HOUSE_NAME": "H"}).shop.name == "H"


@pytest.mark.parametrize(
    ("name", "text"), [("LOCALE", "fr_FR"), ("PAPER", "a5"), ("MARK", "/nowhere.svg"), ("FONTS", "/nowhere")]
)
def test_what_can_not_be_is_refused_by_its_name(name: str, text: str) -> None:
    with pytest.raises(ValueError, match=f"SETTLE_SHOP_{name}"):
        read_settings({f"SETTLE_SHOP_{name}": text})
