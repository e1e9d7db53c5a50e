"""What the contract promises of an Idempotency-Key, over a line that fails, to a house in a process of its own.

Here a short run; `python -m tests.line` makes the long one.
"""

from pathlib import Path

import stores

from tests.line.posting import MIXTURE
from tests.line.proxy import FATES
from tests.line.run import run

POSTS, SEED, THREADS = 300, 1, 8


def test_posts_over_a_failing_line_make_one_document_a_key_and_get_equal_answers(tmp_path: Path) -> None:
    database = stores.empty(tmp_path / "books.sqlite3")
    ended = run(database, tmp_path / "log", POSTS, SEED, THREADS)
    assert ended.wrong == []
    assert sum(ended.counts[f"documents: {kind}"] for kind in MIXTURE) == ended.counts["keys"] == POSTS
    # Or else the line would have shown nothing.
    assert [fate for fate in FATES if not ended.counts[fate]] == []
    assert ended.counts["answered as the first time"] > POSTS / 10
