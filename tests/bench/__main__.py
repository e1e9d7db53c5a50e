"""`python -m tests.bench`: what exactness costs, ours and a yardstick in the same run.

Every figure is the median of several runs, ours and the yardstick taking turns, so
that a noisy machine is noisy for both. Nothing here is asserted but that all of
them find the same nets.
"""

import json
import sys
import tempfile
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

import marshmallow
from flask import Flask, request
from rich.console import Console
from rich.progress import track
from rich.table import Table

from api.app import create_app
from api.settings import Settings
from settle.books.access import make_key
from settle.books.migrations import upgrade
from settle.books.work import THE_COMMAND, open_books
from settle.reckoning.problems import Faults
from settle.reckoning.quote import read_request, reckon
from settle.reckoning.terms import CASES, read_terms
from settle.reckoning.working import Working
from tests.bench.yardstick import BareDecimal, PintThroughout, estimate

ROUNDS, EACH = 15, 20
WORKED = Path(__file__).parent.parent / "published" / "worked" / "estimate-a-grams-gbp.json"

Run = Callable[[], Any]


def ours(terms: dict[str, Any], asked: dict[str, Any], *, working: bool) -> dict[str, Decimal]:
    """An estimate by the reckoning, from JSON shape to three nets."""
    faults = Faults()
    of = read_request(asked, read_terms(terms), {}, {}, faults)
    faults.refuse_if_any()
    cases = reckon(of, Working(kept=working)).cases
    return {case: Decimal(cases[case].net_minor).scaleb(-2) for case in CASES}


def in_process(terms: dict[str, Any], asked: dict[str, Any], folder: str) -> Run:
    """`POST /v1/estimates` through the whole app, without a network."""
    url = f"sqlite:///{folder}/bench.db"
    upgrade(url)
    books = open_books(url)
    with books.writing(THE_COMMAND) as work:
        secret = make_key(work, "bench", ["owner"])
    client = create_app(Settings(database_url=url), books=books).test_client()
    headers = {"Authorization": f"Bearer {secret}"}
    client.post("/v1/terms", json={**terms, "public": True}, headers=headers)

    def call() -> Any:
        answer = client.post("/v1/estimates?working=false", json=asked, headers=headers)
        return {case: Decimal(answer.json["cases"][case]["net"]["amount"]) for case in CASES}

    return call


class _Bare(marshmallow.Schema):
    items = marshmallow.fields.List(marshmallow.fields.Dict(), required=True)
    prices = marshmallow.fields.Dict(required=True)
    instructions = marshmallow.fields.Dict(required=True)


def bare_flask(terms: dict[str, Any], asked: dict[str, Any]) -> Run:
    """The least that could serve the same body: Flask, a schema of three fields, sums in `Decimal`."""
    app = Flask(__name__)

    @app.post("/estimates")
    def view() -> Any:
        nets = estimate(BareDecimal, terms, _Bare().load(request.get_json()))
        return {case: str(net) for case, net in nets.items()}

    client = app.test_client()

    def call() -> Any:
        return {case: Decimal(net) for case, net in client.post("/estimates", json=asked).json.items()}

    return call


def compared(pairs: dict[str, tuple[Run, Run]]) -> Table:
    """Medians of each pair, taking turns, and their ratio."""
    taken: dict[str, tuple[list[float], list[float]]] = {name: ([], []) for name in pairs}
    for _ in track(range(ROUNDS), "measuring", console=Console(stderr=True)):
        for name, runs in pairs.items():
            for run, times in zip(runs, taken[name], strict=True):
                start = perf_counter()
                for _ in range(EACH):
                    run()
                times.append((perf_counter() - start) / EACH)
    table = Table(title=f"median of {ROUNDS} runs of {EACH}, taking turns")
    for heading in ("ours against the yardstick", "ours, ms", "yardstick, ms", "ratio"):
        table.add_column(heading, justify="left" if heading.startswith("ours a") else "right")
    for name, (mine, yard) in taken.items():
        a, b = median(mine) * 1000, median(yard) * 1000
        table.add_row(name, f"{a:.3f}", f"{b:.3f}", f"{a / b:.2f}")
    return table


def main() -> None:
    """Measure, check that all found the same, print the command with the result."""
    data = json.loads(WORKED.read_text())
    terms = data["terms"]
    asked = {k: data["request"][k] for k in ("items", "prices", "instructions")}
    plain: Run = lambda: estimate(BareDecimal, terms, asked)  # noqa: E731 - four runs of one shape
    pint_too: Run = lambda: estimate(PintThroughout, terms, asked)  # noqa: E731
    silent: Run = lambda: ours(terms, asked, working=False)  # noqa: E731
    told: Run = lambda: ours(terms, asked, working=True)  # noqa: E731
    with tempfile.TemporaryDirectory() as folder:
        served, bare = in_process(terms, asked, folder), bare_flask(terms, asked)
        found = {str(sorted(run().items())) for run in (plain, pint_too, silent, told, served, bare)}
        if len(found) != 1:
            sys.exit(f"they don't find the same nets: {found}")
        pairs = {
            "estimate, no working / Decimal by hand": (silent, plain),
            "estimate, with working / Decimal by hand": (told, plain),
            "estimate, no working / Pint throughout": (silent, pint_too),
            "estimate, with working / Pint throughout": (told, pint_too),
            "POST /v1/estimates / bare Flask and marshmallow": (served, bare),
        }
        table = compared(pairs)
    console = Console(width=100)
    console.print(table)
    console.print("5 items, 2 metals, 3 cases. Command: python -m tests.bench")


if __name__ == "__main__":
    main()
