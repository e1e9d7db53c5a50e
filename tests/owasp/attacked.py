"""What the tests of this folder share: routes with real addresses, the document, the walks."""

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from staged import House, house_at
from stages import STANDING

sys.path.insert(0, str(Path(__file__).parents[1] / "openapi"))

from executed import _call, _done, _filled
from walks import WALKS, Step, a_picture

__all__ = ["STANDING", "a_picture"]

_OTHERS = {"periods": "2026-03", "problems": "price-too-old", "docs": "open.js", "pictures": "band"}


def operations(house: House) -> dict[tuple[str, str], Any]:
    """Every operation of the published document, by method and path."""
    spec = document(house)
    return {
        (method.upper(), path): operation
        for path, item in spec["paths"].items()
        for method, operation in item.items()
        if method in ("get", "post", "patch", "put", "delete")
    }


def document(house: House) -> Any:
    return house.till.ask("GET", "/openapi.json", Authorization=None).json


def address(path: str) -> str:
    """A path of the document with names that stand in the books, where any do."""
    filled: list[str] = []
    for part in path.split("/"):
        names = {**STANDING, **_OTHERS}
        filled.append(names.get(filled[-1], "X-1") if part.startswith("{") else part)
    return "/".join(filled)


def read_by_number(house: House) -> Iterator[tuple[str, str]]:
    """Each address that reads one thing by its name, as what stands before the name and after it."""
    for method, path in operations(house):
        found = re.fullmatch(r"(/v1/(\w+)/)\{\w+\}(/[\w/-]+)?", path)
        # Only what was settled anew has a difference.
        if method == "GET" and found and found[2] in STANDING and found[3] != "/difference":
            yield found[1], found[3] or ""


def walked(folder: Path) -> Iterator[tuple[House, Step, Any]]:
    """Every request of the walks with its house and its whole body, before it is made."""
    for n, (stage, steps) in enumerate(WALKS):
        (folder / str(n)).mkdir()
        with house_at(stage, folder / str(n)) as house:
            last: dict[str, str] = {}
            for step in steps:
                if "days" in step:
                    house.clock.move(days=step["days"])
                    continue
                named = {**step, "path": step["path"].format(**last)}
                yield house, named, _filled(house, step.get("body"))
                _done(house, named, last)


def called(house: House, step: Step) -> tuple[str, str]:
    """A step's operation, as the document has it."""
    method, _, path = _call(house, step).partition(" ")
    return method, path


def seen(house: House, step: Step) -> str | None:
    return house.till.ask("GET", step["seen"]).headers["ETag"] if "seen" in step else None
