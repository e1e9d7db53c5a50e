"""`settle demo`: the road is walked, what is printed adds up, and what it offers to try works."""

import re
import shutil
import signal
import subprocess
from dataclasses import replace
from decimal import Decimal

import pytest

from api.demo import scenario
from api.demo.scenario import Scenario, load_scenario, load_scenarios

from .conftest import COMMAND, PATIENCE_S, surroundings

WIDEST = 100
STEPS = ("weight", "fineness", "recovery", "instructions", "price", "charges")
LOTS = [story for of in load_scenarios() for story in of.lots]
GRAMS = r"([+−]?[\d,]+\.\d{3,}) g"
FIGURE = r"([+−]?[\d,]+\.\d\d)"


def figure(text: str) -> Decimal:
    return Decimal(text.replace(",", "").replace("−", "-"))


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory):
    return tmp_path_factory.mktemp("elsewhere")


@pytest.fixture(scope="module")
def once(elsewhere):
    """One walk to the end, shared: nothing that is asked of it changes it."""
    return subprocess.run(
        [*COMMAND, "demo", "--once"],
        cwd=elsewhere,
        env=surroundings(),
        capture_output=True,
        encoding="utf-8",
        timeout=PATIENCE_S,
    )


def between(text: str, start: str, end: str) -> str:
    return text.partition(start)[2].partition(end)[0]


def test_the_demo_walks_its_road_once_and_ends_well(once):
    assert (once.returncode, once.stderr) == (0, "")


@pytest.mark.usefixtures("once")
def test_the_demo_leaves_nothing_in_the_folder_it_was_run_from(elsewhere):
    assert list(elsewhere.iterdir()) == []


def test_the_demo_prints_a_settlement(once):
    assert re.search(r"Settlement S-\d{4}-0001 · Wenna Quillfeather", once.stdout)
    for part in ("Weights", "Metal", "Where it goes", "Money, GBP", "Why it differs from the quote, GBP"):
        assert f"\n{part}\n" in once.stdout


@pytest.mark.parametrize("story", LOTS, ids=lambda story: story.name)
def test_every_lot_ends_as_the_scenario_means_it_to(once, story):
    summary = once.stdout.partition("What became of each lot")[2]
    [line] = [line for line in summary.splitlines() if story.name in line]
    assert story.ends in line.split()


def test_what_the_scenario_means_to_be_refused_is_refused_and_nothing_else(once):
    meant = [step for of in load_scenarios() for step in of.steps if step.refused]
    assert len(meant) == 2
    assert len(re.findall(r"  refused$", once.stdout, re.MULTILINE)) == len(meant)


def test_the_printed_comparison_adds_up(once):
    printed = between(once.stdout, "Why it differs from the quote", "What came back")
    start = figure(re.search(rf"^quote +{FIGURE}", printed, re.MULTILINE)[1])
    total, by = re.search(rf"^settled +{FIGURE} +{FIGURE}", printed, re.MULTILINE).groups()
    worth, differences = start, Decimal(0)
    for step in STEPS:
        after, difference = re.search(rf"^{step} +{FIGURE} +{FIGURE}", printed, re.MULTILINE).groups()
        worth += figure(difference)
        differences += figure(difference)
        assert worth == figure(after)
    assert (worth, differences) == (figure(total), figure(by))
    assert differences != 0


def test_the_printed_money_adds_up(once):
    printed = between(once.stdout, "Money, GBP", "Why it differs")
    *lines, net = [figure(re.search(rf"{FIGURE} *$", line)[1]) for line in printed.strip().splitlines()]
    assert sum(lines) == net


def test_the_printed_metal_adds_up(once):
    printed = between(once.stdout, "\nMetal\n", "Money, GBP")
    metal, _, places = printed.partition("Where it goes")
    for name in ("gold", "silver"):
        [accountable] = re.findall(rf"^{name} .* ([\d.]+) g *$", metal, re.MULTILINE)
        goes = re.findall(rf"^{name} .* ([\d.]+) g *$", places, re.MULTILINE)
        assert sum(map(Decimal, goes)) == Decimal(accountable)


def grams(text: str) -> list[Decimal]:
    return [figure(found) for found in re.findall(GRAMS, text)]


def test_all_roads_are_walked_under_their_titles(once):
    for of in load_scenarios():
        assert f"\n{of.title} ─" in once.stdout


def test_the_printed_silver_of_the_bath_adds_up(once):
    printed = between(once.stdout, "Silver of R-", "SHA-256")
    judged, _, credited = printed.partition("Who is credited")
    rows = {name: grams(line) for line in judged.splitlines() for name in ["  ".join(line.split("  ")[:1])]}
    went_in, own, lent = rows["in"]
    [out], [held], [loss], [residual, _] = (
        rows[name] for name in ("out", "held", "expected loss", "residual")
    )
    assert went_in == own + lent
    assert went_in - loss - residual == out + held
    [recovery] = re.findall(r"in × \(1 − ([\d.]+)\)", judged)
    assert loss == went_in * (1 - Decimal(recovery))
    *lines, together = [found for line in credited.splitlines() if (found := grams(line))]
    assert len(lines) == 6, "five lots and the house"
    assert [sum(column) for column in zip(*lines, strict=True)] == together
    assert together == [went_in, out + held]


def test_the_printed_comparison_with_the_till_explains_itself(once):
    printed = between(once.stdout, "The till's silver credits against the books", "What became")
    told = " ".join(printed.partition("is made up of:")[2].split())
    [together] = [line for line in printed.splitlines() if line.startswith("together")]
    till, books, difference = grams(together)
    assert till - books == difference == sum(grams(told))
    for verdict in ("agreed", "differing", "doubled", "missing in the books", "missing in the till"):
        assert verdict in printed


def test_no_line_of_it_is_wider_than_a_hundred_columns(once):
    assert [line for line in once.stdout.splitlines() if len(line) > WIDEST] == []


def test_the_scenario_holds_no_answers():
    told = [str(step.body) + step.path for of in load_scenarios() for step in of.steps]
    assert not any(re.search(r"[A-Z]+-\d{4}-\d{4}|[0-9a-f]{64}", text) for text in told)


@pytest.fixture
def offered(started):
    """A demo that stays up, and what it had printed by the time it said how to end it."""
    with started("demo") as process:
        printed = []
        for line in process.stdout:
            printed.append(line)
            if line.startswith("Ctrl-C"):
                break
        yield process, "".join(printed)


def test_a_demo_that_stays_up_offers_what_works_and_ends_when_asked(offered, once):
    process, printed = offered
    road, _, offer = printed.partition("\nThe server is up\n")
    assert road == once.stdout, "the same road gives the same books"
    assert [line for line in offer.splitlines() if len(line) > WIDEST] == []
    assert len(re.findall(r"^[a-z]+ +\S{43} *$", offer, re.MULTILINE)) == 7
    calls = re.findall(r"^curl .*?(?=\n\n)", offer, re.MULTILINE | re.DOTALL)
    if shutil.which("curl"):
        answers = [subprocess.check_output(["sh", "-c", call], encoding="utf-8") for call in calls]
        assert [
            re.search(word, answer) is not None
            for word, answer in zip(("net_range", "ambiguous-unit", "metal_found"), answers, strict=True)
        ] == [True] * 3
    process.send_signal(signal.SIGINT)
    assert process.wait(PATIENCE_S) == 0
    assert process.stderr.read() == ""


def test_the_demo_keeps_off_books_that_are_in_use(settle, database):
    assert settle("migrate").returncode == 0
    assert settle("keys", "create", "--name", "ours", "--scope", "owner").returncode == 0
    found = settle("demo", "--once", "--database", database)
    assert found.returncode == 1
    assert "a database of its own" in found.stderr


def test_a_demo_in_which_something_is_refused_says_so_and_ends_badly(settle, monkeypatch):
    told = load_scenario()
    # Without prices nothing can be quoted: every story that asks for a quote ends there.
    unpriced = tuple(step for step in told.shop.steps if step.path != "/v1/prices")
    broken = Scenario(replace(told.shop, steps=unpriced), told.lots)
    monkeypatch.setattr(scenario, "load_scenarios", lambda: (broken,))
    found = settle("demo", "--once")
    assert found.returncode == 1
    assert "/prices/gold: no price of gold" in found.stdout
    assert "unfinished" in found.stdout
