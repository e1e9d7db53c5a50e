"""`python -m tests.fuzz`: some 20,000 requests at the app, every answer held against the document.

A fault is told once and as it is found, with a request that shows it; the command fails if there is
one, or if an operation was never done.
"""

import argparse
import sys
import tempfile
from itertools import count, islice
from pathlib import Path

from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from tests.fuzz.fuzzed import PHASES, Found, Plan, fuzz
from tests.fuzz.prepared import prepared

_TELL_EVERY = 1000


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--cases", type=int, default=60, help="drawn for each operation")
    parser.add_argument(
        "--walks", type=int, default=300, help="of several calls, each going on from the last"
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--phases", nargs="+", choices=PHASES, default=PHASES)
    return parser.parse_args()


def main() -> int:
    given = _arguments()
    plan = Plan(given.cases, given.walks, tuple(given.phases), given.seed)
    console = Console(width=None if sys.stdout.isatty() else 120)
    with tempfile.TemporaryDirectory() as folder, _progress(console) as progress:
        task = progress.add_task("the walks are made")
        milestones = count(_TELL_EVERY, _TELL_EVERY)
        coming, known = next(milestones), 0

        def told(found: Found) -> None:
            nonlocal coming, known
            so_far = f"{found.cases} requests, {len(found.faults)} faults"
            progress.update(task, description=so_far)
            for fault, request in islice(found.faults.items(), known, None):
                console.print(f"\n{fault}\n{request}", markup=False, highlight=False, soft_wrap=True)
            known = len(found.faults)
            while found.cases >= coming:
                coming = next(milestones)
                if not console.is_terminal:
                    print(so_far, file=sys.stderr, flush=True)

        with prepared(Path(folder)) as house:
            found = fuzz(house, plan, told=told)
            operations = sorted(house.examples)
    for line in found.table(operations):
        print(line)
    print(f"\nseed {plan.seed}: {found.summary(operations)}")
    return 1 if found.faults or found.unreached(operations) else 0


def _progress(console: Console) -> Progress:
    return Progress(
        SpinnerColumn(),
        TextColumn("{task.description}"),
        TimeElapsedColumn(),
        console=console,
        transient=True,
    )


if __name__ == "__main__":
    sys.exit(main())
