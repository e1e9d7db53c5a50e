"""Style as a test: what a reader would object to in a review, a machine objects to first."""

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = [*(ROOT / "settle").rglob("*.py"), *(ROOT / "api").rglob("*.py")]
TESTS = list((ROOT / "tests").rglob("*.py"))
LONGEST_MODULE = 400
LONGEST_FUNCTION = 70


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "--no-cache", "settle", "api", "tests"],
        ["ruff", "format", "--no-cache", "--check", "settle", "api"],
        ["mypy", "--no-incremental", "settle"],
        ["importlinter.cli", "lint-imports"],
    ],
    ids=lambda command: " ".join(command[:2]),
)
def test_a_machine_finds_nothing_to_object_to(command: list[str]) -> None:
    module, *rest = command
    if module == "importlinter.cli":
        run = [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"]
    else:
        run = [sys.executable, "-m", module, *rest]
    done = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    "command", sorted((ROOT / "tests").glob("*/__main__.py")), ids=lambda p: p.parent.name
)
def test_a_command_of_the_tests_needs_nothing_but_the_checkout(command: Path) -> None:
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    run = [sys.executable, "-c", f"import tests.{command.parent.name}.__main__"]
    done = subprocess.run(run, cwd=ROOT, env=kept, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("path", PACKAGES + TESTS, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_has_one_subject_and_fits_in_a_head(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= LONGEST_MODULE


@pytest.mark.parametrize("path", PACKAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_function_fits_a_screen(path: Path) -> None:
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
    functions = [node for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, kinds)]
    too_long = [f.name for f in functions if (f.end_lineno or 0) - f.lineno >= LONGEST_FUNCTION]
    assert too_long == []


@pytest.mark.parametrize("path", PACKAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_is_named_after_its_subject(path: Path) -> None:
    assert path.stem not in ("utils", "util", "helpers", "common", "manager", "misc")


@pytest.mark.parametrize("path", [p for p in PACKAGES if "reckoning" in p.parts], ids=lambda p: p.name)
def test_the_reckoning_knows_no_binary_floating_point(path: Path) -> None:
    tree = ast.parse(path.read_text("utf-8"))
    names = [node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and node.id == "float"]
    floats = [n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, float)]
    assert names + floats == []


@pytest.mark.parametrize("path", [*(ROOT / "settle").rglob("*.py")], ids=lambda p: str(p.relative_to(ROOT)))
def test_no_faults_are_gathered_that_nobody_asks_for(path: Path) -> None:
    """Else a stand-in is reckoned with: what was kept is read with `Kept` or `NO_FAULTS`, which raise."""
    calls = [node for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Call)]
    thrown_away = [ast.unparse(call) for call in calls if "Faults()" in map(ast.unparse, call.args)]
    assert thrown_away == []


def test_the_standing_text_names_no_machine() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if listed.returncode:
        pytest.skip("not a git checkout: which files are the project's can't be told")
    place = re.compile(r"/(?:work|farm|root|tmp)/[a-z]")
    found = []
    for name in listed.stdout.splitlines():
        path = ROOT / name
        if path.suffix in (".png", ".svg", ".jpg") or not path.is_file():
            continue
        if place.search(path.read_bytes().decode("utf-8", "replace")):
            found.append(name)
    assert found == []


@pytest.mark.parametrize("path", sorted((ROOT / "settle").rglob("*.py")), ids=str)
def test_only_the_rooms_of_the_store_know_which_database_it_is(path: Path) -> None:
    """`store` opens it, `columns` looks into JSON, migrations make the tables, `backup` copies a file."""
    inside = path.relative_to(ROOT / "settle").as_posix()
    rooms = ("books/store.py", "books/columns.py", "books/backup.py", "books/migrations/")
    known = re.findall(r"(?i)sqlite|postgres|psycopg|pragma|rowid|json_extract", path.read_text("utf-8"))
    assert known == [] or inside.startswith(rooms), known
