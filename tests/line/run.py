"""One run: a house, a line that fails, clients that ask again, and what came of it."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from api.client import House
from tests.line.posting import Run, drawn, found_wrong, opened, standing
from tests.line.proxy import FATES, failing
from tests.line.served import served


@dataclass(frozen=True)
class Ended:
    """How often what happened, and everything that is not as it must be."""

    counts: dict[str, int]
    wrong: list[str]


def run(
    database: str, log: Path, posts: int, seed: int, threads: int, done: Callable[[], object] = lambda: None
) -> Ended:
    """Post everything once through a line that fails, and look at what the house made of it."""
    with served(database, log) as house:
        direct = House(house.address, house.key)
        direct.session.trust_env = False
        ready = opened(direct)
        todo, heard = drawn(posts, seed, ready), Run()
        with failing(house.port, seed) as (line, address):
            heard.post_all(address, house.key, todo, threads, done)
        wrong = found_wrong(house, line, todo, heard, ready)
        answered = [told for told_of_key in line.told.values() for told in told_of_key]
        counts = {
            "requests by the clients": sum(line.fates.values()),
            **{fate: line.fates[fate] for fate in FATES},
            "asked again": heard.asked_again,
            "given up and asked anew": heard.unanswered,
            "answered by the house": len(answered),
            "answered as the first time": sum(told.replayed for told in answered),
            "told to wait": sum(told.status != 201 for told in answered),
            "keys": len({post.key for post in todo}),
            **{f"documents: {kind}": count for kind, count in standing(house, ready).items()},
        }
    return Ended(counts, wrong)
