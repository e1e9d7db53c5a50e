"""What the reckoning says in whole sentences, said in German.

The reckoning speaks English and knows nothing of paper. Each row is one of its
sentences with its gaps, and the German for it; a sentence that no row fits is
left in English. A gap may hold further sentences, words or figures.
"""

import re
from collections.abc import Callable, Iterator
from functools import lru_cache

from babel import Locale

from api.paper.german import GERMAN

Figure = Callable[[str], str]

# Gaps that hold whole sentences or lists, and gaps that hold a name of several words; others hold one word.
_LISTS = {"text", "parts", "names", "metals", "judged", "more"}
_NAMES = {"source", "item", "scale", "name"}
_GAP = re.compile(r"\\{(\w+)\\}")
# How parts are joined, the loosest joint first.
_JOINTS = (("; ", "; "), (" and ", " und "), (" or ", " oder "), (", ", ", "))
# A whole number of four digits inside a sentence is a year.
_NUMBER = re.compile(r"-?([0-9]{1,3}|[0-9]+\.[0-9]+)")


def told(text: str, locale: Locale, figure: Figure = str) -> str:
    """A sentence of the reckoning in the reader's language, its figures as he writes them."""
    return _german(text, figure) if locale.language == "de" else text


def _german(text: str, figure: Figure) -> str:
    if _NUMBER.fullmatch(text):
        return figure(text)
    for pattern, german in _rows():
        if match := pattern.fullmatch(text):
            return german.format(**{gap: _german(said, figure) for gap, said in match.groupdict().items()})
    for joint, german in _JOINTS:
        if joint in text:
            return german.join(_german(part, figure) for part in text.split(joint))
    return text


@lru_cache(maxsize=1)
def _rows() -> tuple[tuple[re.Pattern[str], str], ...]:
    return tuple(_compiled())


def _compiled() -> Iterator[tuple[re.Pattern[str], str]]:
    # Sentences with more words of their own go first: a row that is mostly gap would swallow them.
    for english, german in sorted(GERMAN, key=lambda row: -len(re.sub(r"{\w+}", "", row[0]))):
        yield re.compile(_GAP.sub(_gap, re.escape(english)), re.DOTALL), german


def _gap(of: re.Match[str]) -> str:
    name = of[1]
    held = ".+?" if name in _LISTS else "[^;]+?" if name in _NAMES else r"\S+"
    return f"(?P<{name}>{held})"
