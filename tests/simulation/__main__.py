"""`python -m tests.simulation --days N --seed S`: a simulated shop over the real use cases.

`--light N` runs the light form instead: N lots of many shops through the reckoning alone for each
shape of truth, then the drift test over honest shops and over planted thefts.
"""

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn
from rich.table import Table

from api.terminal.review import show_review
from settle.books import evidence
from settle.books.migrations import upgrade
from tests.simulation import figures, house, light
from tests.simulation.shop import Shop
from tests.simulation.truth import SHAPES, World

THEFTS = (0.002, 0.003, 0.005, 0.0075, 0.01, 0.02)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.simulation", description=__doc__)
    parser.add_argument("--days", type=int, default=60, help="days of the shop")
    parser.add_argument("--seed", type=int, default=1, help="the same seed, the same shop")
    parser.add_argument("--lots-a-day", type=float, default=1.0, help="of clients who come, on average")
    parser.add_argument("--shape", choices=list(SHAPES), default="normal", help="of the truth")
    parser.add_argument("--check-every", type=int, default=1, metavar="N", help="check each Nth evening")
    parser.add_argument("--one-shop", action="store_true", help="what a kind has in common never changes")
    parser.add_argument("--light", type=int, metavar="N", help="N lots through the reckoning alone")
    return parser.parse_args()


def _progress(console: Console) -> Progress:
    return Progress(
        "{task.description}", BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(), console=console
    )


def run_light(console: Console, lots: int, seed: int) -> None:
    """Coverage by shape, false alarms, thefts."""
    terms = light.read(house.terms(World(house.USUAL), estimate_silver=False))
    table = Table("truth", "lots", "R inside the band", "95 % interval", title="coverage of the band, gold")
    with _progress(Console(stderr=True)) as progress:
        for shape in SHAPES:
            task = progress.add_task(f"{shape} truths", total=lots)
            world = World(house.USUAL, shape=shape)
            inside = light.coverage(world, terms, seed, lots, lambda task=task: progress.advance(task))  # type: ignore[misc]
            low, high = figures.share_interval(inside, lots)
            table.add_row(shape, str(lots), f"{inside / lots:.2%}", f"{low:.2%} to {high:.2%}")
        console.print(table)
        _drift(console, progress, seed)


def _drift(console: Console, progress: Progress, seed: int) -> None:
    world = World(house.USUAL)
    terms = light.read(house.terms(world))
    shops, batches = 50, 1000
    task = progress.add_task("honest shops", total=shops)
    alarms = 0
    for i in range(shops):
        alarms += len(light.alarms(world, terms, seed * 1000 + i, batches).drifts)
        progress.advance(task)
    expected = shops * batches / figures.RUN_LENGTH
    low, high = figures.count_interval(expected)
    console.print(
        f"{alarms} false alarms in {shops * batches} batches of honest shops; "
        f"one in {figures.RUN_LENGTH} would be {expected:.0f} ({low} to {high})."
    )
    table = Table(
        "stolen of the silver", "batches, mean", "half of the shops by", "95 % by", "not within 200"
    )
    for stolen in THEFTS:
        found = [light.found_after(world, terms, seed * 5000 + i, stolen, 200) for i in range(200)]
        table.add_row(f"{stolen:.2%}", *figures.delays(found, 200))
    console.print(table)


def run_shop(console: Console, of: argparse.Namespace) -> bool:
    """The shop over the use cases; whether its books were whole each evening that was checked."""
    world = World(house.USUAL, shape=of.shape, lying_marks={"22": -6.0} if of.one_shop else {})
    with tempfile.TemporaryDirectory(prefix="settle-simulation-") as folder:
        url = f"sqlite:///{Path(folder) / 'books.sqlite3'}"
        upgrade(url)
        shop = Shop(url, world, house.terms(world), of.seed, of.lots_a_day, anew=not of.one_shop)
        faults: list[str] = []
        with _progress(Console(stderr=True)) as progress:
            for day in progress.track(range(1, of.days + 1), description="days"):
                faults += shop.day(check=day % of.check_every == 0 or day == of.days)
        _summary(console, shop, faults)
        show_review(console, shop.read(evidence.review))
        shop.books.close()
    return not faults


def _summary(console: Console, shop: Shop, faults: Sequence[str]) -> None:
    table = Table("what happened", "how often")
    for name, count in shop.counts.items():
        table.add_row(name, str(count))
    console.print(table)
    inside, quoted = shop.counts["gold inside"], shop.counts["gold quoted"]
    if quoted:
        low, high = figures.share_interval(inside, quoted)
        console.print(
            f"R of gold inside its band: {inside} of {quoted} (95 % interval {low:.1%} to {high:.1%})."
        )
    whole = f"whole in each of {shop.counts['evenings checked']} evenings that were checked"
    console.print(f"Books: {'; '.join(faults[:10]) or whole}.")


def main() -> None:
    of = _arguments()
    console = Console(width=100, highlight=False)
    if of.light:
        run_light(console, of.light, of.seed)
    elif not run_shop(console, of):
        sys.exit(1)
    console.print(f"Command: python -m tests.simulation {' '.join(sys.argv[1:])}")


if __name__ == "__main__":
    main()
