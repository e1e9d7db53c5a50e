"""The evidence review as it is asked for: over HTTP, and as a page with a picture."""

import json
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
import stores
from click.testing import CliRunner

from api.app import create_app
from api.cli import main
from api.settings import Settings
from api.terminal.review import _line, _scale, show_review
from settle.books import evidence, quotes, terms
from settle.books.access import make_key
from settle.books.work import THE_COMMAND, open_books
from settle.reckoning.problems import Faults
from settle.reckoning.review import Judged, Worth, in_words
from tests.simulation import house
from tests.simulation.shop import Shop
from tests.simulation.truth import World

ADDRESS = "/v1/evidence-review"


class Asked:
    """The app over some books, asked with a key of one scope."""

    def __init__(self, url, books):
        self.app = create_app(Settings(url), books=books).test_client()
        with books.writing(THE_COMMAND) as work:
            self.keys = {scope: make_key(work, scope, [scope]) for scope in ("read", "quote", "owner")}

    def get(self, address=ADDRESS, scope="read"):
        return self.app.get(address, headers={"Authorization": f"Bearer {self.keys[scope]}"})

    def post(self, address, body):
        return self.app.post(address, json=body, headers={"Authorization": f"Bearer {self.keys['owner']}"})


@pytest.fixture(scope="module")
def asked(simulated):
    return Asked(simulated.shop.url, simulated.shop.books)


@pytest.fixture
def new(tmp_path):
    """Books that nothing stands in yet."""
    url = stores.migrated(tmp_path / "new.sqlite3")
    books = open_books(url)
    yield Asked(url, books), books
    books.close()


def test_it_answers_what_the_books_find(asked, simulated):
    answer = asked.get()
    assert answer.status_code == 200
    assert answer.json == simulated.shop.read(evidence.review)
    assert [of["kind"] for of in answer.json["evidence"]][:2] == ["alloy_table", "filled goods"]
    assert {of["metal"]: of["accounts"] for of in answer.json["recoveries"]}["gold"] > 10


@pytest.mark.parametrize(("scope", "status"), [("read", 200), ("owner", 200), ("quote", 403)])
def test_it_is_for_those_who_read_the_books(new, scope, status):
    app, books = new
    with books.writing(THE_COMMAND) as work:
        terms.add(work, house.terms(World(house.USUAL)), Faults())
    assert app.get(scope=scope).status_code == status


@pytest.mark.parametrize("query", ["", "?terms=T-99"])
def test_terms_that_are_not_there_are_not_found(new, query):
    answer = new[0].get(ADDRESS + query)
    assert (answer.status_code, answer.json["type"].rpartition("/")[2]) == (404, "not-found")
    assert "terms" in answer.json["detail"]


def test_without_history_nothing_is_proposed_and_it_is_said(new):
    app, books = new
    with books.writing(THE_COMMAND) as work:
        terms.add(work, house.terms(World(house.USUAL)), Faults())
    found = app.get().json
    assert (found["lots"], found["proposed_terms"], found["last_quotes"]) == (0, None, [])
    assert all("too few to say" in of["says"][0] for of in [*found["evidence"], *found["recoveries"]])


def test_the_proposed_terms_can_be_posted_as_they_stand(asked):
    found = asked.get().json
    answer = asked.post("/v1/terms?dry_run=true", found["proposed_terms"])
    assert answer.status_code == 200
    assert answer.json["last_quotes"] == found["last_quotes"]
    assert len(found["last_quotes"]) > 10


def test_the_proposal_changes_evidence_and_recoveries_and_nothing_else(asked):
    found = asked.get().json
    posted, proposed = asked.get("/v1/terms/T-1").json, found["proposed_terms"]
    changed = {k for k in proposed if proposed[k] != posted[k]}
    assert changed <= {"evidence", "metals"}
    assert changed
    for metal, of in proposed["metals"].items():
        same = {k: v for k, v in of.items() if k not in ("recovery", "recovery_u")}
        assert same.items() <= posted["metals"][metal].items()


def command(url, *arguments):
    return CliRunner().invoke(main, ["review", *arguments], env={"SETTLE_DATABASE_URL": url})


def test_the_command_shows_tables_and_a_picture_on_a_hundred_columns(simulated, asked):
    shown = command(simulated.shop.url)
    assert shown.exit_code == 0, shown.output
    assert max(len(line) for line in shown.stdout.splitlines()) <= 100
    for words in ("hallmark", "history finds", "proposed", "Recoveries", "Bühlmann", "━", "●"):
        assert words in shown.stdout


def test_the_command_prints_the_same_as_json_and_the_proposal_alone(simulated, asked):
    found = asked.get().json
    assert json.loads(command(simulated.shop.url, "--json").stdout) == found
    assert json.loads(command(simulated.shop.url, "--proposed").stdout) == found["proposed_terms"]


def test_a_name_too_long_for_its_column_does_not_push_the_page_wider(capsys):
    from api.terminal.page import page

    worth = {"bias": "-12.5", "scatter": "123.4", "shared": "56.7"}
    kind = {
        "kind": "a stamp of a kind that goes on and on " * 4, "lots": 4000, "held": 3900, "present": worth,
        "found": worth | {"u": "1.2"}, "proposed": worth, "says": ["The history agrees with the terms."],
    }  # fmt: skip
    document = {
        "terms": "T-1", "name": "n" * 60, "lots": 4000, "evidence": [kind], "marks": [], "recoveries": [],
        "recovered_inside_band": {}, "left_out": [], "far_off": [], "proposed_terms": None,
        "last_quotes": [], "method": "m", "says": [],
    }  # fmt: skip
    show_review(page(), document)
    shown = capsys.readouterr().out
    assert max(len(line) for line in shown.splitlines()) <= 100
    assert "−12.5" in shown


# What a refiner reads -------------------------------------------------------------------------------


@pytest.fixture
def of_few_lots(tmp_path):
    """Three days of a shop: three lots, and no mark or kind of which there are ten."""
    world = World(house.USUAL)
    shop = Shop(stores.migrated(tmp_path / "few.sqlite3"), world, house.terms(world), 5)
    for _ in range(3):
        shop.day(check=False)
    yield shop
    shop.books.close()


def test_marks_of_too_few_lots_are_counted_as_truly_as_others(of_few_lots):
    """Three lots, gone through by hand: their articles and whether the band held are no zeros."""
    found = of_few_lots.read(evidence.review)
    kinds = {of["kind"]: of for of in found["evidence"]}
    assert found["marks"]
    for mark in found["marks"]:
        assert (mark["found"], mark["proposed"]) == (None, None)
        assert mark["articles"] >= mark["lots"] > 0
        assert mark["lots"] <= kinds[mark["kind"]]["lots"]
    for kind in {of["kind"] for of in found["marks"]}:
        # Every article here has a mark, unless an instrument read it.
        marks = [of for of in found["marks"] if of["kind"] == kind]
        assert sum(of["articles"] for of in marks) == kinds[kind]["articles"]
    held = sum(of["held"] for of in found["marks"])
    assert held == sum(
        of["held"] for of in found["evidence"] if of["kind"] in {m["kind"] for m in found["marks"]}
    )


def test_a_page_of_few_lots_names_kind_and_mark_and_counts_one_lot_as_one(of_few_lots):
    shown = command(of_few_lots.url)
    page = " ".join(shown.stdout.split())
    mark = of_few_lots.read(evidence.review)["marks"][0]
    assert f"Too few lots to say: {mark['mark']} ({mark['kind']}): {mark['lots']}" in page
    assert "1 lot with it: too few to say" in page
    assert "1 lots" not in page
    assert "Nothing is proposed" in page
    assert "To take it over" not in page
    refused = command(of_few_lots.url, "--proposed")
    assert (refused.exit_code, refused.stdout) == (1, "")
    assert "nothing is proposed for T-1" in refused.stderr


def test_the_page_says_what_its_words_mean_and_how_a_proposal_is_taken_over(simulated):
    page = " ".join(command(simulated.shop.url).stdout.split())
    for words in (
        "held: in how many",
        "scatter: from article",
        "shared: what the articles",
        "recovery: which part",
    ):
        assert words in page
    assert "settle review --terms T-1 --proposed > proposed.json" in page
    assert "POST /v1/terms" in page


def test_the_page_has_the_figures_of_the_answer(simulated, asked):
    """Twice u in the table, in the sentence and in the answer are one figure."""
    lines = command(simulated.shop.url).stdout.splitlines()
    told = [of for of in asked.get().json["evidence"] if of["found"]]
    finds = [line.split("history finds")[1].split() for line in lines if "history finds" in line]
    assert told
    for of, (bias, twice, scatter, shared) in zip(told, finds, strict=False):
        found = of["found"]
        assert Decimal(bias.replace("−", "-")) == Decimal(found["bias"])
        assert Decimal(twice) == 2 * Decimal(found["u"])
        assert (Decimal(scatter), Decimal(shared)) == (Decimal(found["scatter"]), Decimal(found["shared"]))
        for said in of["says"]:
            if "±" in said:
                assert Decimal(said.split("±")[1].split()[0]) == 2 * Decimal(found["u"])


def test_what_was_read_shows_in_the_picture_also_within_a_range():
    line = _line((Decimal(-20), Decimal(10)), Decimal(-5), Decimal(-20), Decimal(10), "━")
    # 0 lies two thirds along 64 columns, the middle halfway.
    assert (line.index("┊"), line.index("●"), line.count("━")) == (42, 32, 62)
    assert _scale(Decimal(-20), Decimal(10)).index("0", 5) == 42
    assert len(_scale(Decimal(-28), Decimal(0))) == len(line)


def test_a_proposal_posted_is_terms_and_the_next_review_warns_of_counting_twice(tmp_path):
    world = World(house.USUAL)
    shop = Shop(stores.migrated(tmp_path / "taken.sqlite3"), world, house.terms(world), 5)
    for _ in range(15):
        shop.day(check=False)
    # Lots under either terms share no batch (H9): the bench is empty before they change.
    if shop.waiting:
        shop.batch()
    if shop.baths:
        shop.late_silver()
    first = shop.read(evidence.review)
    assert first["says"] == []
    assert shop.do(terms.add, first["proposed_terms"])["number"] == "T-2"
    second = shop.read(evidence.review)
    proposed = {of["kind"]: of["proposed"] or of["present"] for of in first["evidence"]}
    assert second["terms"] == "T-2"
    assert {of["kind"]: of["present"] for of in second["evidence"]} == proposed
    lots = second["lots"]
    assert f"0 of the {lots} lots came in after T-2" in second["says"][0]
    assert second["says"][0] in " ".join(command(shop.url).stdout.split())
    while shop.read(evidence.review)["lots"] < lots + 10:
        shop.day(check=False)
    assert shop.read(evidence.review)["says"] == []
    shop.books.close()


def test_quotes_under_terms_of_another_name_are_not_compared(of_few_lots):
    """A house may have a set of terms for each kind of work: a version of one changes no quote of another."""
    known = house.terms(World(house.USUAL))
    other = known | {"name": "by the lot"}

    def tried(body):
        return of_few_lots.read(lambda work: quotes.under_new_terms(work, body, Faults()))["last_quotes"]

    before = [of["quote"] for of in tried(known)]
    # Nothing was quoted under a name that is new: what it would change is asked of all.
    assert [of["quote"] for of in tried(other)] == before
    of_few_lots.do(terms.add, other)
    of_few_lots.day(check=False)
    of_others = [of["quote"] for of in tried(other)]
    assert of_others
    assert not set(of_others) & set(before)
    assert [of["quote"] for of in tried(known)] == before


def test_a_mark_is_measured_against_its_kind_and_a_proposal_beyond_both_is_explained():
    worth = Worth(Fraction(-2), Fraction(3), Fraction(1))
    found = replace(worth, bias_ppt=Fraction(7, 5), u_ppt=Fraction(123, 100))
    mark = Judged("hallmark", "14k", 20, 30, 4, 20, worth, found, worth, Fraction(1))
    assert in_words(mark) == [
        "The truth lay +1.4 ± 2.4 ‰ from what was read; its kind is reckoned at −2 ‰: "
        "more than its figures allow for."
    ]
    beyond = replace(worth, bias_ppt=Fraction(-3))
    kind = replace(mark, mark="", proposed=beyond, lots_of_several=10)
    assert "the terms say −2 ‰: more than they allow for" in in_words(kind)[0]
    assert "not between the two" in in_words(kind)[-1]
    assert not any("not between" in said for said in in_words(replace(kind, proposed=found)))
