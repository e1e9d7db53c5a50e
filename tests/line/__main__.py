"""`python -m tests.line --posts 10000 --seed 1 [--database URL]`: retried posts through a line that fails.

The house is a process of its own over new books: an SQLite file that is thrown away, or those at
`--database`, which must be empty. Everything stays on loopback.
"""

import argparse
import sys
import tempfile
from pathlib import Path
from time import monotonic

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeElapsedColumn, TimeRemainingColumn
from rich.table import Table

from tests.line.run import Ended, run


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.line", description=__doc__)
    parser.add_argument("--posts", type=int, default=10_000, help="things to do, each with a key of its own")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--threads", type=int, default=8, help="clients at a time")
    parser.add_argument("--database", metavar="URL", help="empty books, kept afterwards")
    asked = parser.parse_args()
    console, start = Console(), monotonic()
    columns = BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(), TimeRemainingColumn()
    with tempfile.TemporaryDirectory() as folder, Progress(*columns, console=console) as progress:
        task = progress.add_task("posts", total=asked.posts)
        database = asked.database or f"sqlite:///{Path(folder) / 'books.sqlite3'}"
        ended = run(
            database,
            Path(folder) / "log",
            asked.posts,
            asked.seed,
            asked.threads,
            lambda: progress.advance(task),
        )
    console.print(_table(ended))
    for wrong in ended.wrong:
        console.print(wrong, markup=False, highlight=False)
    console.print(f"{monotonic() - start:.0f} s, seed {asked.seed}; {len(ended.wrong)} faults")
    return 1 if ended.wrong else 0


def _table(ended: Ended) -> Table:
    table = Table("what", "how often")
    for what, count in ended.counts.items():
        table.add_row(what, f"{count:,}")
    return table


if __name__ == "__main__":
    sys.exit(main())
