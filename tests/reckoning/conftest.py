"""`--rule D2` runs the tests of one rule alone; `--settle-at FOLDER` insists on which copy is under test."""

from pathlib import Path

import pytest

import settle


def pytest_addoption(parser):
    parser.addoption("--rule", default=None, help="run the tests of this rule of the arithmetic alone")
    parser.addoption("--settle-at", default=None, help="fail unless settle is imported from this folder")


def pytest_configure(config):
    config.addinivalue_line("markers", "rule(number): the rule that a test holds the code to")
    wanted = config.getoption("--settle-at", default=None)
    under_test = Path(settle.__file__).resolve().parent.parent
    if wanted is not None and under_test != Path(wanted).resolve():
        raise pytest.UsageError(f"settle was imported from {under_test}, not from {wanted}")


def pytest_collection_modifyitems(config, items):
    rule = config.getoption("--rule", default=None)
    if rule is None:
        return
    kept = [i for i in items if any(mark.args == (rule,) for mark in i.iter_markers("rule"))]
    config.hook.pytest_deselected(items=[i for i in items if i not in kept])
    items[:] = kept
