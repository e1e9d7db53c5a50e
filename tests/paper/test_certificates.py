"""Certificates: checked by strangers, noticed when altered, alive after a rotation, dead when withdrawn."""

import json
import re
from pathlib import Path

import pytest
import stores
from click.testing import CliRunner

from api.cli_papers import certificate_keys, verify
from settle.books import certificates, signed
from settle.books.tables import bars
from settle.books.work import THE_COMMAND
from settle.reckoning.document import canonical

from .house import SHOP, House, Json, pages, pdf


@pytest.fixture(scope="module")
def keys(house: House, documents: dict[str, Json]) -> list[Json]:
    del documents  # which made the first certificate, and so the first key
    found: list[Json] = house.client.get("/v1/certificate-keys").json["keys"]
    return found


def check(house: House, text: str) -> Json:
    answer = house.client.post("/v1/certificate-checks", json={"certificate": text})
    assert answer.status_code == 200, answer.json
    found: Json = answer.json
    return found


def test_a_certificate_says_no_more_than_the_bar_states(house: House, documents: dict[str, Json]) -> None:
    says, bar = documents["certificate"]["says"], house.shown(f"/v1/bars/{house.names['bar']}")
    assert says["weight"]["amount"] == bar["stated_weight"]["g"] == "20.000"
    assert (says["fineness"], says["fine"]["amount"]) == ("999.9", "19.998")
    assert says.keys() == {
        "batch",
        "date",
        "fine",
        "fineness",
        "maker",
        "metal",
        "method",
        "report",
        "serial",
        "u",
        "weight",
    }


def on_paper(house: House, bar: str, locale: str = "en_GB") -> str:
    return " ".join(
        pages(pdf("certificate", house.shown(f"/v1/bars/{house.names[bar]}/certificate"), locale))
    )


def test_on_paper_it_says_by_which_method_and_whose_report(house: House) -> None:
    text = on_paper(house, "bar")
    assert "Method by difference (outside laboratory), standard uncertainty 0.02 ‰" in text
    assert "Laboratory's report LB 26/118" in text
    assert "The statement of the maker named above" in text
    german = on_paper(house, "bar", "de_DE")
    assert "Verfahren aus der Differenz (Fremdlabor), Standardunsicherheit 0,02 ‰" in german
    assert "Laborbericht LB 26/118" in german


def test_on_paper_that_of_a_bought_bar_repeats_what_its_maker_states(house: House) -> None:
    text = on_paper(house, "bought_bar")
    assert "Maker's mark a maker 1234" in text
    assert "It repeats what the maker of the mark named above states" in text
    assert "The statement of the maker named above" not in text
    for claimed in ("Method", "uncertainty", "Laboratory", "Batch", "Maker " + SHOP.name):
        assert claimed not in text
    german = on_paper(house, "bought_bar", "de_DE")
    assert "Herstellerzeichen a maker 1234" in german
    assert "keine eigene Probe" in german


def test_on_paper_an_assay_that_named_no_method_shows_its_uncertainty_alone(
    documents: dict[str, Json],
) -> None:
    told = documents["certificate"]
    says = {k: v for k, v in told["says"].items() if k != "report"} | {"method": None}
    text = " ".join(pages(pdf("certificate", told | {"says": says})))
    assert "standard uncertainty 0.02 ‰" in text
    assert "Method" not in text


def test_a_stranger_checks_it_with_the_published_key(documents: dict[str, Json], keys: list[Json]) -> None:
    says, name = signed.read(documents["certificate"]["certificate"], keys)
    assert (says, name) == (documents["certificate"]["says"], documents["certificate"]["key"])


def test_no_secret_is_published(keys: list[Json]) -> None:
    assert all("d" not in key for key in keys)


def test_every_altered_byte_is_noticed(documents: dict[str, Json], keys: list[Json]) -> None:
    text = documents["certificate"]["certificate"]
    for at, character in enumerate(text):
        for other in {"A", "B", ".", "_", "=", chr(ord(character) ^ 1)} - {character}:
            with pytest.raises(ValueError):
                signed.read(text[:at] + other + text[at + 1 :], keys)
        with pytest.raises(ValueError):
            signed.read(text[:at] + text[at + 1 :], keys)


def test_the_same_statement_in_other_bytes_is_refused() -> None:
    """Signed by us, and yet not canonical: the order of its members is another."""
    from joserfc import jws
    from joserfc.jwk import OKPKey

    name, public, secret = signed.new_key()
    key = OKPKey.import_key(json.loads(secret))
    text = jws.serialize_compact(
        {"alg": "Ed25519", "kid": name}, b'{"b":1, "a":2}', key, algorithms=["Ed25519"]
    )
    with pytest.raises(ValueError, match="canonical"):
        signed.read(text, [public])
    fine = jws.serialize_compact(
        {"alg": "Ed25519", "kid": name}, canonical({"a": 2}), key, algorithms=["Ed25519"]
    )
    assert signed.read(fine, [public])[0] == {"a": 2}


def test_a_check_says_whose_it_is_and_whether_it_is_in_force(
    house: House, documents: dict[str, Json]
) -> None:
    answer = check(house, documents["certificate"]["certificate"])
    assert (answer["ours"], answer["unaltered"], answer["in_force"]) == (True, True, True)
    altered = check(house, documents["certificate"]["certificate"][:-6] + "AAAAAA")
    assert (altered["ours"], altered["unaltered"], altered["in_force"]) == (True, False, False)
    foreign = check(house, "not.a.certificate")
    assert (foreign["ours"], foreign["says"]) == (False, None)


def test_a_body_that_is_no_check_is_refused(house: House) -> None:
    assert house.client.post("/v1/certificate-checks", json={}).status_code == 422


def test_a_withdrawn_bar_takes_its_certificate_with_it(house: House, documents: dict[str, Json]) -> None:
    text, mine = documents["certificate"]["certificate"], bars.c.serial == house.names["bar"]
    with house.books.writing(THE_COMMAND) as work:
        before = work.connection.execute(bars.select().where(mine)).one().state
        work.connection.execute(bars.update().where(mine).values(state="withdrawn"))
        told = certificates.check(work, text)
        work.connection.execute(bars.update().where(mine).values(state=before))
    assert (told["ours"], told["unaltered"], told["in_force"]) == (True, True, False)
    assert told["why"] == "the bar was withdrawn"


def test_old_certificates_stay_checkable_after_a_rotation(house: House, documents: dict[str, Json]) -> None:
    with house.books.writing(THE_COMMAND) as work:
        name = certificates.make_key(work)
    old, new = documents["certificate"], house.shown(f"/v1/bars/{house.names['bar']}/certificate")
    assert (new["key"], new["says"]) == (name, old["says"])
    assert new["certificate"] != old["certificate"]
    assert check(house, old["certificate"])["in_force"]
    assert check(house, old["certificate"])["key"]["retired_at"] is not None
    assert check(house, new["certificate"])["key"]["retired_at"] is None


def test_the_command_verifies_offline(tmp_path: Path, documents: dict[str, Json], keys: list[Json]) -> None:
    published = tmp_path / "keys.json"
    published.write_text(json.dumps({"keys": keys}))
    text = documents["certificate"]["certificate"]
    file = tmp_path / "bar.txt"
    file.write_text(text + "\n")
    for what in (text, str(file)):
        run = CliRunner().invoke(verify, [what, "--key", str(published)])
        assert run.exit_code == 0, run.output
        assert '"serial": "BAR-2026-0002"' in run.output
    run = CliRunner().invoke(verify, [text[:-4] + "AAAA", "--key", str(published)])
    assert run.exit_code == 2
    published.write_text("{}")
    assert CliRunner().invoke(verify, [text, "--key", str(published)]).exit_code == 2


def test_the_command_makes_and_rotates_keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    url = stores.migrated(tmp_path / "books.sqlite3")
    monkeypatch.setenv("SETTLE_DATABASE_URL", url)
    first, again, rotated = (
        json.loads(CliRunner().invoke(certificate_keys, said).output)["keys"]
        for said in ([], [], ["--rotate"])
    )
    assert len(first) == 1
    assert again == first
    assert [k["kid"] for k in rotated][1:] == [first[0]["kid"]]
    assert (rotated[0]["retired_at"], rotated[1]["retired_at"] is None) == (None, False)


def test_the_code_on_the_paper_is_large_enough_to_read(documents: dict[str, Json]) -> None:
    import segno

    code = segno.make_qr(documents["certificate"]["certificate"], error="m")
    modules = code.symbol_size(border=4)[0]
    # 52 mm on the sheet: a module must not be finer than half a millimetre.
    assert 52 / modules >= 0.5
    assert not re.search(r"\s", documents["certificate"]["certificate"])
