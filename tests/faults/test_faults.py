"""Every rule's own tests turn red when a fault is planted in that rule, and are green without.

The reckoning is copied to a temporary folder, the fault is planted in the copy, and the
tests that carry the rule's number are run against the copy, in a process of their own.
"""

import os
import re
import shutil
import subprocess
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from .planted import FAULTS, RULES, Planted

ROOT = Path(__file__).resolve().parents[2]
TESTS = ROOT / "tests" / "reckoning"
AT_ONCE = 2
PYTEST = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "-p", "no:hypothesispytest"]
FAILED = 1  # pytest's exit code for tests that ran and failed


def copied(folder: Path) -> Path:
    """A copy of `settle/` in a folder of its own."""
    # A compiled module that another process is just writing has a number behind its name.
    shutil.copytree(ROOT / "settle", folder / "settle", ignore=shutil.ignore_patterns("*.pyc.*"))
    return folder


def modules_with(rule: str) -> list[Path]:
    """The modules that hold tests of a rule: to collect all of them takes longer than to run these."""
    return [path for path in sorted(TESTS.glob("test_*.py")) if f'rule("{rule}")' in path.read_text("utf-8")]


def run(folder: Path, *options: str | Path) -> subprocess.CompletedProcess:
    """Tests of the reckoning against the copy in `folder`; they insist that it is imported."""
    # The current folder comes first when pytest is run as a module, so it is the copy's.
    command = [*PYTEST, f"--confcutdir={TESTS}", f"--rootdir={ROOT}", f"--settle-at={folder}", *options]
    environment = os.environ | {"PYTHONPATH": str(folder)}
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)


def plant(fault: Planted, folder: Path) -> None:
    module = folder / "settle" / "reckoning" / f"{fault.module}.py"
    text = module.read_text(encoding="utf-8")
    assert text.count(fault.source) == 1, f"{fault}: its text stands there {text.count(fault.source)} times"
    module.write_text(text.replace(fault.source, fault.instead), encoding="utf-8")


def outcome(fault: Planted, folder: Path) -> str:
    """How the rule's own tests took the fault: `red`, or what they said instead."""
    try:
        plant(fault, copied(folder))
    except AssertionError as reason:
        return str(reason)
    ran = run(folder, f"--rule={fault.rule}", *modules_with(fault.rule))
    shutil.rmtree(folder)
    noticed = ran.returncode == FAILED and re.search(r"^FAILED .*::test_", ran.stdout, re.MULTILINE)
    return "red" if noticed else f"exit {ran.returncode}\n{ran.stdout}{ran.stderr}"


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory):
    """The outcome of every fault, two processes at a time."""
    folder = tmp_path_factory.mktemp("planted")
    with ThreadPoolExecutor(AT_ONCE) as pool:
        found = pool.map(lambda i: outcome(FAULTS[i], folder / str(i)), range(len(FAULTS)))
        return dict(enumerate(found))


def test_without_a_fault_the_tests_of_all_rules_are_green(tmp_path):
    ran = run(copied(tmp_path), TESTS)
    assert ran.returncode == 0, ran.stdout + ran.stderr


@pytest.mark.parametrize("number", range(len(FAULTS)), ids=[str(fault) for fault in FAULTS])
def test_a_planted_fault_turns_its_rules_own_tests_red(outcomes, number):
    assert outcomes[number] == "red"


def test_every_rule_has_tests_of_its_own_and_a_planted_fault():
    marked = Counter(
        rule
        for path in TESTS.glob("test_*.py")
        for rule in re.findall(r'rule\("(\w+)"\)', path.read_text("utf-8"))
    )
    assert set(marked) == set(RULES)
    assert {fault.rule for fault in FAULTS} == set(RULES)


def test_tests_that_import_another_copy_are_refused(tmp_path):
    copied(tmp_path / "one")
    command = [*PYTEST, f"--confcutdir={TESTS}", f"--settle-at={tmp_path / 'two'}", TESTS]
    environment = os.environ | {"PYTHONPATH": str(tmp_path / "one")}
    ran = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert ran.returncode == pytest.ExitCode.USAGE_ERROR
    assert "settle was imported from" in ran.stdout + ran.stderr


def test_a_fault_whose_text_is_not_there_is_told(tmp_path):
    gone = Planted("A1", "exact", "no such text", "", "nothing")
    assert "0 times" in outcome(gone, tmp_path / "gone")


def test_a_change_that_is_no_fault_is_not_called_red(tmp_path):
    harmless = Planted("A1", "exact", "ONE = Fraction(1)", "ONE = Fraction(1, 1)", "nothing")
    assert outcome(harmless, tmp_path / "harmless").startswith("exit 0")


def test_a_change_that_can_not_be_imported_is_not_called_red(tmp_path):
    broken = Planted("A1", "exact", "ONE = Fraction(1)", "ONE = Fraction(", "a slip of the pen")
    assert outcome(broken, tmp_path / "broken") != "red"
