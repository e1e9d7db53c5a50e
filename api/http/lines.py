"""Many bodies in one: JSON Lines in, and out, as they are answered, one answer or one problem a line."""

import json
from collections.abc import Iterator
from functools import wraps
from typing import Any

from flask import Response, current_app, g, request, stream_with_context

from api.http.body import parse, refuse_coded, takes_too
from api.http.limits import LINES
from api.http.problems import problem_of, problem_of_slip
from api.http.published import View, answers, documented
from settle.reckoning.problems import Fault, Refused

_TEXT = {"schema": {"type": "string", "description": "One JSON value a line"}}


def by_line(view: View) -> View:
    """Call the view once for each line of an `application/jsonl` body, and stream its answers in order.

    A line's answer is the answer that it would get alone. It stands above `reads`: each line
    is a transaction of its own, so that a slow reader holds nothing.
    """

    @wraps(view)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        takes_too(LINES)
        if request.mimetype != LINES:
            return view(*args, **kwargs)

        def answered() -> Iterator[bytes]:
            for line in lines:
                answer = json.dumps(_answer(line, lambda: view(*args, **kwargs)), ensure_ascii=False)
                yield answer.encode("utf-8", "replace") + b"\n"

        lines = _lines()
        return Response(stream_with_context(answered()), content_type=LINES)

    told = answers(200, media=LINES)(wrapper)
    documented(told, statuses=(413,), manual_doc={"requestBody": {"content": {LINES: _TEXT}}})
    return told


def _lines() -> list[bytes]:
    """The lines of the body; the end of the last one is not another. Raises `Refused` (413, 415)."""
    refuse_coded()
    most = current_app.config["SETTLE"].lines_limit
    lines = request.get_data().removesuffix(b"\n").split(b"\n")
    if len(lines) > most:
        raise Refused(Fault("body-too-large", "", f"{len(lines)} lines", f"at most {most}"))
    return lines


def _answer(line: bytes, call: View) -> Any:
    try:
        g.parsed_body = parse(line)
        return call().get_json()
    except Refused as refused:
        return problem_of(refused).get_json()
    except Exception as error:  # one line that we stumble over doesn't take the others with it
        return problem_of_slip(error).get_json()
