"""Files that ship with the program: the invented scenario and the examples."""

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path


def shipped(folder: str) -> Traversable:
    """`fixtures` or `shared`: inside the package once installed, beside it in a checkout."""
    inside = files("api") / folder
    return inside if inside.is_dir() else Path(__file__).parents[1] / folder
