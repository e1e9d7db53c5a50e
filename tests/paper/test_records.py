"""Records: equal to the last byte, and a second reader finds the same figures in them."""

import json
from copy import deepcopy
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from api.cli_papers import recompute, verify
from settle.reckoning import record
from settle.reckoning.document import canonical
from tests import oracle

from .house import House, Json

KINDS = ("quote", "settlement", "reconciliation")


@pytest.fixture(scope="module")
def files(house: House) -> dict[str, bytes]:
    n = house.names
    paths = {
        "quote": f"/v1/quotes/{n['quote']}/record",
        "settlement": f"/v1/settlements/{n['settlement']}/record",
        "reconciliation": f"/v1/batches/{n['batch']}/reconciliation/record",
    }
    answers = {kind: house.get(path) for kind, path in paths.items()}
    assert all(a.status_code == 200 for a in answers.values())
    return {kind: answer.data for kind, answer in answers.items()}


@pytest.mark.parametrize("kind", KINDS)
def test_a_record_is_equal(files: dict[str, bytes], kind: str) -> None:
    assert record.faults_of(files[kind]) == []


@pytest.mark.parametrize("kind", KINDS)
def test_a_record_answers_what_the_house_answered(
    files: dict[str, bytes], kind: str, documents: dict[str, Json]
) -> None:
    answer = json.loads(files[kind])["answer"]
    shown = documents[kind]["metals"] if kind == "reconciliation" else documents[kind]
    for name, value in answer.items():
        if kind == "reconciliation":
            assert {k: shown[name][k] for k in value} == value
        else:
            assert shown[name] == value


def a_small_record() -> bytes:
    """A reconciliation of one lot under the barest terms: small enough to alter each of its bytes."""
    terms = {
        "name": "bare",
        "currency": "GBP",
        "division": {"amount": "0.01", "unit": "g"},
        "evidence": {"sure": {"method": "fire_assay"}},
        "metals": {"gold": {"settle_on": "assay", "accountable": "1", "payout_rate": "1"}},
    }
    weighed = {"weight": "10", "division": "0.01", "assay": "500", "u2": "0.01", "weighings": 1}
    lots = [{"lot": "L-1", "own": weighed, "need": "0"}]
    inputs = {
        "gold": {
            "terms": terms, "terms_number": "T-1", "lots": lots, "lent": [], "out": [weighed], "held": [],
        }
    }  # fmt: skip
    answer = record.reckoned("reconciliation", inputs)
    hashes = {metal: record.document.digest(of) for metal, of in answer.items()}
    return record.sealed(record.made("reconciliation", inputs, answer, hashes), "not signed")


def test_every_altered_byte_is_noticed() -> None:
    raw = a_small_record()
    assert record.faults_of(raw) == []
    for at in range(len(raw)):
        assert record.altered(raw[:at] + bytes([raw[at] ^ 1]) + raw[at + 1 :]), at


@pytest.mark.parametrize("kind", KINDS)
def test_bytes_altered_lost_and_added_are_noticed(files: dict[str, bytes], kind: str) -> None:
    raw = files[kind]
    for at in range(0, len(raw), 311):
        assert record.altered(raw[:at] + bytes([raw[at] ^ 1]) + raw[at + 1 :]), at
        assert record.altered(raw[:at] + raw[at + 1 :]), at
        assert record.altered(raw[:at] + b" " + raw[at:]), at
    for at in range(0, len(raw), 2_003):
        assert record.faults_of(raw[:at] + bytes([raw[at] ^ 1]) + raw[at + 1 :]), at
    assert record.faults_of(raw + b"\n")


def forged(raw: bytes, path: str, value: Any) -> bytes:
    """A record with one figure changed, and its hashes made to fit again."""
    whole = json.loads(raw)
    place = whole
    *steps, last = path.split("/")
    for step in steps:
        place = place[int(step) if isinstance(place, list) else step]
    place[last] = value
    if path.startswith("answer/") and whole["record"] != "reconciliation":
        whole["answer_hash"] = record.document.digest(whole["answer"])
    signature = whole.pop("signature")
    del whole["hash"]
    return bytes(record.sealed(whole, signature))


@pytest.mark.parametrize(
    ("kind", "path", "value", "differs"),
    [
        ("quote", "answer/net_range/likely/amount", "791.45", "/answer/net_range/likely/amount"),
        ("quote", "inputs/asked/items/0/karat", "10", "/answer/cases/likely/net/amount"),
        ("settlement", "answer/cases/final/net/amount", "797.07", "/answer/cases/final/net/amount"),
        ("settlement", "inputs/refined/melt/amount", "118.5", "/answer/weights/melt/g"),
        ("settlement", "inputs/quoted/asked/instructions/gold/remainder", "shot", None),
        ("reconciliation", "inputs/silver/lent/0/weight", "115.9", "/answer/silver/lent/g"),
    ],
)
def test_a_forger_who_mends_the_hashes_is_told_which_figure_differs(
    files: dict[str, bytes], kind: str, path: str, value: Any, differs: str | None
) -> None:
    raw = forged(files[kind], path, value)
    assert record.altered(raw) == []
    if differs is not None:
        assert any(fault.startswith(f"{differs}:") for fault in record.faults_of(raw))


@pytest.mark.parametrize("kind", KINDS)
def test_the_command_says_equal_or_what_differs(tmp_path: Path, files: dict[str, bytes], kind: str) -> None:
    file = tmp_path / f"{kind}.json"
    file.write_bytes(files[kind])
    run = CliRunner().invoke(recompute, [str(file)])
    assert (run.exit_code, "equal" in run.output) == (0, True)
    file.write_bytes(files[kind].replace(b"0", b"1", 1))
    assert CliRunner().invoke(recompute, [str(file)]).exit_code == 2


@pytest.mark.parametrize("kind", KINDS)
def test_the_signature_of_a_record_is_checked_with_the_published_key(
    tmp_path: Path, house: House, files: dict[str, bytes], kind: str
) -> None:
    keys = tmp_path / "keys.json"
    keys.write_text(json.dumps(house.client.get("/v1/certificate-keys").json))
    file = tmp_path / "record.json"
    file.write_bytes(files[kind])
    assert CliRunner().invoke(verify, [str(file), "--key", str(keys)]).exit_code == 0
    other = json.loads(files["quote" if kind != "quote" else "settlement"])["signature"]
    whole = {k: v for k, v in json.loads(files[kind]).items() if k not in ("hash", "signature")}
    file.write_bytes(record.sealed(whole, other))
    run = CliRunner().invoke(verify, [str(file), "--key", str(keys)])
    assert (run.exit_code, "another record" in run.output) == (2, True)


@pytest.mark.parametrize(
    "raw", [b"", b"{", b"[]", b"7", b"{}", b'{"record":"quote"}', b"\xff", b"[" * 100_000]
)
def test_what_is_no_record_is_said_to_be_none(raw: bytes) -> None:
    assert record.faults_of(raw)


@pytest.mark.parametrize("kind", KINDS)
def test_a_record_without_a_part_is_refused_and_breaks_nothing(files: dict[str, bytes], kind: str) -> None:
    whole = json.loads(files[kind])
    for part in (*whole, *(f"inputs/{name}" for name in whole["inputs"])):
        less = deepcopy(whole)
        *steps, last = part.split("/")
        place = less
        for step in steps:
            place = place[step]
        del place[last]
        assert record.faults_of(canonical(less)), part


# A second reader: plain fractions, nothing of the program.


def test_a_second_reader_finds_the_quotes_figures(files: dict[str, bytes]) -> None:
    held = json.loads(files["quote"])
    again = oracle.estimate(held["inputs"]["terms"], held["inputs"]["asked"])
    for case, figures in again.items():
        answered = held["answer"]["cases"][case]
        assert figures["net"] == answered["net"]["amount"]
        assert figures["charges_total"] == answered["charges_total"]["amount"]
        for metal, of in figures["metals"].items():
            assert of["accountable"] == answered["metals"][metal]["accountable"]["g"]


def test_a_second_reader_finds_the_settlements_figures(files: dict[str, bytes]) -> None:
    held = json.loads(files["settlement"])
    refined, quoted = held["inputs"]["refined"], held["inputs"]["quoted"]
    case = {
        "melt_weight": refined["melt"],
        "drillings": refined["drillings"],
        "assay": refined["assay"],
        "bars": refined["bars"],
        "instructions": refined["instructions"],
        "prices": refined["prices"],
        "gross_weight": refined["gross"],
        "articles": refined["articles"],
    }
    came = {metal: Fraction(of["amount"]) for metal, of in refined["recovered"].items()}
    again = oracle.settle(case, held["inputs"]["terms"], quoted["asked"], came)
    assert again["answer"]["net"] == held["answer"]["net"]["amount"]
    steps = [
        (s["step"], s["worth"]["amount"], s["difference"]["amount"])
        for s in held["answer"]["comparison"]["steps"]
    ]
    assert [(s["step"], s["V"], s["difference"]) for s in again["comparison"]] == steps


def test_a_second_reader_finds_the_reconciliations_figures(files: dict[str, bytes]) -> None:
    held = json.loads(files["reconciliation"])
    for metal, of in held["inputs"].items():
        answered = held["answer"][metal]

        def fine(weighed: Json) -> Fraction:
            return round(Fraction(weighed["weight"]) * Fraction(weighed["assay"])) / Fraction(1000)

        own, lent, out = (
            sum((fine(w) for w in weighed), Fraction(0))
            for weighed in ([i["own"] for i in of["lots"]], of["lent"], of["out"])
        )
        recovery = Fraction(of["terms"]["metals"][metal]["recovery"])
        assert (own + lent, out) == (Fraction(answered["in"]["g"]), Fraction(answered["out"]["g"]))
        assert (own + lent) * recovery - out == Fraction(answered["residual"]["g"])
        credited = sum(Fraction(g["g"]) for g in answered["credited"].values())
        assert credited + Fraction(answered["house_share"]["g"]) == out
