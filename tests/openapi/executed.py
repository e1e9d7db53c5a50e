"""The examples of the document: what the walks asked, and what they were answered.

`PYTHONPATH=.:tests python tests/openapi/executed.py` writes `shared/examples.json` anew.
"""

import json
import re
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from staged import House, house_at
from walks import WALKS, Step

FILE = Path(__file__).parents[2] / "shared" / "examples.json"
# Headers that a reader of an answer goes on with.
_GONE_ON_WITH = ("ETag", "Location", "Link")
# Drawn by chance, so another each time.
_BY_CHANCE = dict.fromkeys(("secret", "certificate", "kid", "x", "key", "signature"), "…")
_HASH_AS_ETAG = re.compile('"[0-9a-f]{32}"')
_LONGEST_LIST = 2


def executed(before: Callable[[str, House], object] = lambda *_: None) -> dict[str, Any]:
    """`"POST /v1/quotes"` → the first request of the walks that made it, and its answer.

    `before` is told of each call that is about to be made, and sees the house as it stands then.
    """
    found: dict[str, Any] = {}
    for stage, steps in WALKS:
        with tempfile.TemporaryDirectory() as folder, house_at(stage, Path(folder)) as house:
            last: dict[str, str] = {}
            for step in steps:
                if "days" in step:
                    house.clock.move(days=step["days"])
                else:
                    step = {**step, "path": step["path"].format(**last)}
                    call = _call(house, step)
                    before(call, house)
                    found.setdefault(call, _done(house, step, last))
    return dict(sorted(found.items()))


def _done(house: House, step: Step, last: dict[str, str]) -> dict[str, Any]:
    headers: dict[str, Any] = {}
    if "seen" in step:
        headers["If_Match"] = house.till.ask("GET", step["seen"]).headers["ETag"]
    body = _filled(house, step.get("body"))
    media = step.get("media", "application/json")
    answer = house.till.ask(step["method"], step["path"], body, media, **headers)
    assert answer.status_code < 300, (step, answer.json)
    if answer.mimetype == "application/json" and step["method"] == "POST":
        last.update({name: answer.json[name] for name in ("id", "entry") if name in answer.json})
    return _shown(step, body, answer, headers)


def _filled(house: House, body: Any) -> Any:
    """The body, with members of earlier answers in place of where they are said to be found."""
    if not isinstance(body, dict):
        return body
    found = {k: v for k, v in body.items() if isinstance(v, dict) and set(v) == {"of"}}
    return {**body, **{k: house.till.get(v["of"])[k] for k, v in found.items()}}


def _call(house: House, step: Step) -> str:
    urls = house.till.app.url_map.bind("localhost")
    rule, _ = urls.match(step["path"].partition("?")[0], step["method"], return_rule=True)
    return f"{step['method']} {rule.rule.replace('<', '{').replace('>', '}')}"


def _shown(step: Step, body: Any, answer: Any, headers: dict[str, Any]) -> dict[str, Any]:
    shown: dict[str, Any] = {"path": step["path"]}
    if "If_Match" in headers:
        shown["if_match"] = headers["If_Match"]
    if isinstance(body, dict):
        shown["body"] = body
    shown["status"] = answer.status_code
    told = {name: answer.headers[name] for name in _GONE_ON_WITH if name in answer.headers}
    # Of what is not JSON the ETag is of bytes that libraries made.
    if told and (answer.mimetype == "application/json" or not answer.data):
        shown["headers"] = told
    if answer.mimetype == "application/json" and answer.data:
        shown["answer"] = _short(answer.json)
    return shown


def _short(told: Any) -> Any:
    """The answer with its longest lists cut: the first rows show what the others are like."""
    if isinstance(told, dict):
        return {name: _short(value) for name, value in told.items()}
    if isinstance(told, list):
        return [_short(value) for value in told[:_LONGEST_LIST]]
    return told


def _sayable(told: Any) -> Any:
    """The same each time: what is drawn by chance is left out."""
    if isinstance(told, dict):
        # A record's own hash is over its signature, a picture's over what a library made of it.
        is_other = {"signature", "media_type"} & told.keys()
        by_chance = {**_BY_CHANCE, "hash": "…"} if is_other else _BY_CHANCE
        return {
            name: by_chance[name] if name in by_chance and isinstance(value, str) else _sayable(value)
            for name, value in told.items()
        }
    if isinstance(told, str) and _HASH_AS_ETAG.fullmatch(told):
        return '"..."'  # a header is written in ASCII
    return [_sayable(value) for value in told] if isinstance(told, list) else told


def written(examples: dict[str, Any]) -> str:
    return json.dumps(_sayable(examples), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FILE.write_text(written(executed()), "utf-8")
