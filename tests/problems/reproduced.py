"""An example of the catalogue, asked of a house as the example says it must stand."""

import json
import tempfile
from pathlib import Path
from typing import Any

from setups import set_up
from staged import House, house_at

Example = dict[str, Any]


def reproduced(example: Example) -> Any:
    """The answer to an example's request, after what it wants done before."""
    with tempfile.TemporaryDirectory() as folder, house_at(example["at"], Path(folder)) as house:
        for step in example.get("before", ()):
            answer = _asked(house, step)
            assert answer.status_code < 400, (step, answer.json)
        with set_up(house, example.get("setup", [])) as ready:
            return _asked(ready, example)


def _asked(house: House, example: Example) -> Any:
    key = example.get("key", "owner")
    headers = {name.replace("-", "_"): value for name, value in example.get("headers", {}).items()}
    if "seen" in example:
        headers["If_Match"] = house.till.ask("GET", example["seen"]).headers["ETag"]
    if key is None:
        headers["Authorization"] = None
    till = house.as_(key or "owner")
    media = headers.pop("Content_Type", "application/json")
    body = _text(example["text"]) if "text" in example else _filled(house, example.get("body"))
    return till.ask(example["method"], example["path"], body, media, **headers)


def _text(text: Any) -> bytes:
    if isinstance(text, dict):
        return str(text["of"] * text["times"]).encode()
    return str(text).encode()


def _filled(house: House, body: Any) -> Any:
    """The body, with the hash of a document in place of where it is said to be found."""
    if isinstance(body, dict) and isinstance(body.get("hash"), dict):
        return {**body, "hash": house.till.get(body["hash"]["of"])["hash"]}
    return body


def types_of(problem: Any) -> set[str]:
    """The kind of a problem, and the kinds of its faults."""
    return {said["type"].removeprefix("/problems/") for said in [problem, *problem.get("errors", ())]}


def golden(problem: Any) -> str:
    return json.dumps(problem, indent=2, ensure_ascii=False) + "\n"
