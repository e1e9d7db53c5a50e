"""What holds for all tests. On which store they run: see `stores`.

How Hypothesis searches: under CI the same examples every time, elsewhere new ones each run.

`pytest --hypothesis-profile=thorough` searches forty times as long.
"""

import itertools
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import documented
import postgresql
import pytest
import said
import stores
from hypothesis import HealthCheck, settings

_COUNT = itertools.count()
# Lots are large examples, and a slow machine is no fault of the arithmetic.
SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large]

settings.register_profile("here", deadline=None, max_examples=50, suppress_health_check=SLOW)
settings.register_profile("ci", parent=settings.get_profile("here"), derandomize=True)
settings.register_profile("thorough", parent=settings.get_profile("here"), max_examples=2000)
settings.load_profile("ci" if os.environ.get("CI") else "here")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """What tests found out; and what was skipped ends in one table, so that nobody takes silence for a pass."""
    for title, lines in said.told():
        terminalreporter.section(title)
        for line in lines:
            terminalreporter.write_line(line)
    skipped = terminalreporter.stats.get("skipped", [])
    if not skipped:
        return
    terminalreporter.section(f"{len(skipped)} SKIPPED")
    width = max(len(report.nodeid) for report in skipped)
    for report in skipped:
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        terminalreporter.write_line(f"{report.nodeid:<{width}}  {reason.removeprefix('Skipped: ')}")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """With SETTLE_NOTHING_SKIPPED a skip fails the run: CI installs all that its tests need."""
    if (output := getattr(session.config, "workeroutput", None)) is not None:
        output["said"] = said.told()
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("SETTLE_NOTHING_SKIPPED") and reporter and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """One of the processes that share a run is done."""
    said.hear(getattr(node, "workeroutput", {}).get("said", []))


documented.watch()


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "sqlite: of what SQLite alone is; not for a run on PostgreSQL")
    if not stores.IS_SQLITE:
        # Asked for by name: without it the run ends here, rather than in a thousand skips.
        postgresql.server()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What is SQLite's own has nothing to say on PostgreSQL.

    A folder is run by one process: what it sets up for all of its tests is set up once. The simulated
    shops, which take longest, come first.
    """
    for item in items:
        item.add_marker(pytest.mark.xdist_group(_folder(item)))
    items.sort(key=lambda item: _folder(item) != "review")
    if not stores.IS_SQLITE:
        others = [item for item in items if item.get_closest_marker("sqlite")]
        config.hook.pytest_deselected(items=others)
        items[:] = [item for item in items if item not in others]


def _folder(item: pytest.Item) -> str:
    return item.path.relative_to(Path(__file__).parent).parts[0]


@pytest.fixture(autouse=True)
def _databases_go_with_the_folder(request: pytest.FixtureRequest) -> Iterator[None]:
    # Asked for before the test, so that the folder outlives whatever the test opened in it.
    folder = request.getfixturevalue("tmp_path") if "tmp_path" in request.fixturenames else None
    yield
    if folder is not None:
        stores.forgotten(folder)


@pytest.fixture
def postgresql_url(request: pytest.FixtureRequest) -> Iterator[str]:
    """New books of the newest schema in PostgreSQL, on whatever the run is; skipped where there is none."""
    try:
        server = postgresql.server()
    except postgresql.NoServer as why:
        pytest.skip(str(why))
    name = f"own{next(_COUNT)}"
    yield server.make(name)
    server.drop(name)


@pytest.fixture(autouse=True)
def _answers_as_documented() -> Iterator[None]:
    """No answer that any app gives in a test differs from what its OpenAPI document says."""
    yield
    differing = documented.differing()
    assert not differing, "\n".join(differing)
