"""`python -m tests.bench.books`: a balance, an account page and a posting, at a thousand and a million lines.

Each figure is the median of many runs, the two sizes taking turns. The lines are put
in through SQL, with the balances that posting them would have given; that is asserted
for a few before anything is measured.
"""

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

from rich.console import Console
from rich.progress import track
from rich.table import Table

from settle.books import accounts, journal
from settle.books.listing import Page
from settle.books.migrations import upgrade
from settle.books.periods import span
from settle.books.work import THE_COMMAND, Books, open_books
from settle.reckoning.ledger import Entry, Leg

SIZES = (1_000, 1_000_000)
CLIENTS, ROUNDS, EACH = 100, 40, 10
# Two lines an entry: silver from the stock to a client's account, the clients taking turns.
A_DAY = ("2026-01-05", "2026-01-05")

_FILL = (
    "INSERT INTO clients (n, id, made_at) SELECT n, 'C-' || n, '2026-01-01T00:00:00.000Z' "
    f"FROM some WHERE n <= {CLIENTS}",
    # A day for each hundredth of the entries: an account page shows a like part of either journal.
    "INSERT INTO journal_entries (n, id, document, text, made_at) "
    "SELECT n, 'J-' || n, 'X-' || n, 'silver to an account', "
    "strftime('%Y-%m-%dT%H:%M:%S.000Z', '2026-01-01', '+' || (n * 8640000 / :entries) || ' seconds') "
    "FROM some",
    "INSERT INTO journal_lines SELECT n, 0, 'house:stock', 'house', 'house:stock', 'silver', -1000, "
    "-1000 * n, -1000 * n FROM some",
    "INSERT INTO journal_lines SELECT n, 1, place, owner, place, 'silver', 1000, held, held FROM ("
    f"SELECT n, 'client:C-' || (n % {CLIENTS} + 1) AS owner, "
    f"'client:C-' || (n % {CLIENTS} + 1) || ':metal' AS place, "
    f"1000 * ((n - 1) / {CLIENTS} + 1) AS held FROM some)",
    "INSERT INTO chain (of, name, hash, link) SELECT 'journal_entries', 'J-' || n, 'h', 'l' || n FROM some",
    "INSERT INTO numbers VALUES ('J', 0, :entries)",
)
_SOME = (
    "CREATE TEMP TABLE some AS "
    "WITH RECURSIVE up(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM up WHERE n < {}) SELECT n FROM up"
)


def filled(folder: str, lines: int) -> Books:
    """Books whose journal has so many lines."""
    url = f"sqlite:///{Path(folder) / f'{lines}.sqlite3'}"
    upgrade(url)
    books = open_books(url)
    entries = lines // 2
    with books.writing(THE_COMMAND) as work:
        run = work.connection.exec_driver_sql
        run(_SOME.format(entries))
        for statement in _FILL:
            run(statement, {"entries": entries} if ":entries" in statement else ())
        run("DROP TABLE some")
        run("ANALYZE")
    return books


def a_balance(books: Books) -> Any:
    with books.reading() as work:
        return journal.balance(work, "client:C-7:metal", "silver")


def a_balance_then(books: Books) -> Any:
    with books.reading() as work:
        at = span(*A_DAY).end(work)
        return journal.balance(work, "client:C-7:metal", "silver", at)


def an_account_page(books: Books) -> Any:
    """Five movements of a client in a period, with opening and closing."""
    with books.reading() as work:
        return accounts.of_client(work, "C-7", span("2026-02-01", None), Page(limit=5))


def a_posting(books: Books) -> Any:
    """An entry in a transaction of its own, on the disk when it returns."""
    legs = (Leg("house:stock", "silver", -1000), Leg("client:C-7:metal", "silver", 1000))
    with books.writing(THE_COMMAND) as work:
        return journal.post(work, Entry("X-0", "silver to an account", legs))


MEASURED: tuple[Callable[[Books], Any], ...] = (a_balance, a_balance_then, an_account_page, a_posting)


def milliseconds(books: tuple[Books, ...]) -> dict[str, list[float]]:
    """Medians by what was measured, one a size."""
    taken: dict[str, list[list[float]]] = {run.__name__: [[] for _ in books] for run in MEASURED}
    for turn in track(range(ROUNDS), "measuring", console=Console(stderr=True)):
        for run in MEASURED:
            # Who comes first finds the program's own code cold: each size does every other time.
            for size in sorted(range(len(books)), reverse=bool(turn % 2)):
                start = perf_counter()
                for _ in range(EACH):
                    run(books[size])
                taken[run.__name__][size].append((perf_counter() - start) / EACH * 1000)
    return {name: [median(times) for times in of] for name, of in taken.items()}


def main() -> None:
    """Fill, look that the balances are right, measure, print the command with the result."""
    with tempfile.TemporaryDirectory() as folder:
        books = tuple(filled(folder, lines) for lines in SIZES)
        for of, lines in zip(books, SIZES, strict=True):
            _refuse_wrong(of, lines)
        found = milliseconds(books)
        for of in books:
            of.close()
    table = Table(title=f"median of {ROUNDS} times {EACH}, taking turns, {CLIENTS} clients")
    for heading in ("", *(f"{lines:,} lines, ms" for lines in SIZES), "ratio"):
        table.add_column(heading, justify="right" if heading else "left")
    for name, (small, large) in found.items():
        table.add_row(name.replace("_", " "), f"{small:.3f}", f"{large:.3f}", f"{large / small:.2f}")
    console = Console(width=100)
    console.print(table)
    console.print("Command: python -m tests.bench.books")


def _refuse_wrong(books: Books, lines: int) -> None:
    with books.reading() as work:
        summed = "sum(amount) OVER (PARTITION BY account ORDER BY entry)"
        lines_summed = f"SELECT balance, {summed} AS summed FROM journal_lines"
        count = f"SELECT count(*) FROM ({lines_summed}) WHERE balance <> summed"
        wrong = work.connection.exec_driver_sql(count).scalar_one()
    if wrong:
        sys.exit(f"{wrong} of {lines} balances are not those of their lines")


if __name__ == "__main__":
    main()
