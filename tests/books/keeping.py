"""Books of today's schema, kept as a file so that tomorrow's migrations are tried on them.

Run by hand when a migration is out, and never again for that schema (PYTHONPATH=.:tests):

    python tests/books/keeping.py
    SETTLE_TEST_STORE=postgresql python tests/books/keeping.py

writes `kept/<schema>.sqlite3.gz`, `kept/<schema>.sql` (by pg_dump).
"""

import gzip
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

import postgresql
import stores
from staged import House, house_at

from settle.books.check import all_faults
from settle.books.migrations import newest

# After `staged`, which finds it.
from stages import go_on  # isort: skip

KEPT = Path(__file__).parent / "kept"


def fill(house: House) -> None:
    """A row in every table of what is posted."""
    house.till.post("/v1/people", {"name": "Dee"})
    house.till.post("/v1/hooks", {"url": "https://nowhere.example/events"})
    go_on(house.till, house.clock)


def keep(folder: Path) -> Path:
    with house_at("settled", folder) as house:
        fill(house)
        with house.books.reading() as work:
            assert all_faults(work) == []
        books = house.till.file
    return _keep_file(books) if stores.IS_SQLITE else _keep_dump(books)


def _keep_file(books: Path) -> Path:
    kept, whole = KEPT / f"{newest()}.sqlite3.gz", books.with_name("whole")
    with closing(sqlite3.connect(books)) as raw:
        raw.execute("VACUUM INTO ?", (str(whole),))
    kept.write_bytes(gzip.compress(whole.read_bytes(), mtime=0))
    return kept


def _keep_dump(books: Path) -> Path:
    kept = KEPT / f"{newest()}.sql"
    url = stores.url(books).replace("+psycopg", "")
    dump = [
        postgresql.programs() / "pg_dump",
        "--no-owner",
        "--no-privileges",
        "--inserts",
        f"--dbname={url}",
    ]
    text = subprocess.run(dump, check=True, capture_output=True, text=True).stdout
    lines = [line for line in text.splitlines() if not line.startswith((r"\restrict", r"\unrestrict", "--"))]
    kept.write_text("\n".join(line for line in lines if line) + "\n", "utf-8")
    return kept


if __name__ == "__main__":
    with TemporaryDirectory() as made:
        print(keep(Path(made)), file=sys.stderr)
