"""What tests found out is said at the end of the run, also where several processes shared it."""

from collections.abc import Callable, Iterable

Section = tuple[str, list[str]]
_tellers: list[Callable[[], Iterable[Section]]] = []
_heard: list[Section] = []


def at_the_end(teller: Callable[[], Iterable[Section]]) -> Callable[[], Iterable[Section]]:
    """Ask this, when all is run, for titles and the lines below them."""
    _tellers.append(teller)
    return teller


def told() -> list[Section]:
    """All that is to be said, other processes' words too."""
    return [*(section for teller in _tellers for section in teller()), *_heard]


def hear(sections: Iterable[Section]) -> None:
    """Take in what another process has to say."""
    _heard.extend(sections)
