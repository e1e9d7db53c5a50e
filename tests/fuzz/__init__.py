"""Schemathesis over the whole document. `python -m tests.fuzz` finds the tests' own modules as pytest does."""

import sys
from pathlib import Path

_TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(_TESTS), str(_TESTS / "openapi"), str(_TESTS / "api")]
