"""The till and the clock are those of the tests of the API; what the machine did ends in a table."""

import sys
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "api")]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    from driven import table

    for line in table():
        terminalreporter.write_line(line)
