"""Work that is kept once: the transaction of a request, and the answer to its Idempotency-Key."""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import wraps
from hashlib import sha256
from threading import Lock
from typing import Any

from flask import Response, current_app, g, make_response, request

from api.http.access import the_actor, the_books
from api.http.body import parsed_body
from api.http.published import View, documented, header, takes_body
from settle.books.access import refuse_void
from settle.books.idempotency import Asked, Kept, keep_answer, kept_answer
from settle.books.work import NOBODY, Work
from settle.reckoning.problems import Fault, Refused, at

IDEMPOTENCY_KEY = "Idempotency-Key"
REPLAYED = "Idempotency-Replayed"
_LONGEST = 255
_KEPT_HEADERS = ("Content-Type", "ETag", "Location")
_DRY_RUN = {
    "in": "query",
    "name": "dry_run",
    "description": "true: answer as if, and keep nothing",
    "schema": {"type": "boolean", "default": False},
}


class _TakenBack(Exception):  # noqa: N818 - nothing failed: the answer is given, the work is not kept
    """Carries an answer out of a transaction that is to be rolled back."""

    def __init__(self, response: Response) -> None:
        self.response = response


def the_work() -> Work:
    """The transaction of this request."""
    work: Work = g.work
    return work


def is_dry_run() -> bool:
    """Whether the client wants to see an answer and keep nothing. Raises `Refused` (bad-request)."""
    said = request.args.get("dry_run", "false")
    # Who asks in other words for nothing to be kept must not find it kept.
    if said not in ("true", "false"):
        raise Refused(Fault("bad-request", "", f"dry_run is {said[:20]}", "dry_run=true or false"))
    return said == "true"


def reads(view: View) -> View:
    """Open the books for reading, as `the_work()`."""

    @wraps(view)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        with the_books().reading(g.get("actor", NOBODY)) as work:
            g.work = work
            return view(*args, **kwargs)

    documented(wrapper, statuses=(503,))
    return wrapper


def keeps(
    *, demanded: bool = False, secrets: Sequence[str] = (), dry_run: bool = False
) -> Callable[[View], View]:
    """Open the books for writing, as `the_work()`, and answer a repeated Idempotency-Key as the first time.

    `demanded`: 400 without the key. `secrets`: members of the answer that are
    never kept, so never repeated. `dry_run`: `?dry_run=true` takes all back, and answers 200.
    Whatever is refused is taken back and not kept. The body is compared as parsed.
    """

    def decorate(view: View) -> View:
        @wraps(view)
        def wrapper(*args: Any, **kwargs: Any) -> Response:
            asked = _asked(demanded)
            # All of the body is here before the lock is taken: a slow sender must not hold the books.
            request.get_data()
            is_dry = is_dry_run()
            if is_dry and not dry_run:
                raise Refused(Fault("bad-request", "", "this call has no dry run", "leave dry_run out"))
            try:
                with _under_way(asked), the_books().writing(the_actor()) as work:
                    g.work = work
                    # Revoked while it waited for the lock: nothing is done any more.
                    refuse_void(work)
                    if asked and (kept := kept_answer(work, asked)):
                        return _again(kept)
                    _refuse_unread(request.get_data())
                    response = make_response(view(*args, **kwargs))
                    if response.status_code >= 400:
                        raise _TakenBack(response)
                    if is_dry:
                        # Nothing was made, so it is not 201.
                        response.status_code = 200
                        raise _TakenBack(response)
                    if asked:
                        keep_answer(work, asked, _kept(response, secrets))
                    return response
            except _TakenBack as taken_back:
                return taken_back.response

        key = header(
            IDEMPOTENCY_KEY,
            "Of your making; the same again gets the first answer",
            required=demanded,
            minLength=1,
            maxLength=_LONGEST,
            pattern="^[ -~]+$",
        )
        parameters = [key, _DRY_RUN] if dry_run else [key]
        documented(wrapper, statuses=(400, 409, 413, 422, 503), parameters=parameters)
        return wrapper

    return decorate


def first_difference(one: Any, other: Any, pointer: str = "") -> str | None:
    """The JSON Pointer of the first field in which two parsed bodies differ; None if they don't."""
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        steps: Sequence[str | int] = list(dict.fromkeys([*one, *other]))
        pairs = [(s, one.get(s, _ABSENT), other.get(s, _ABSENT)) for s in steps]
    elif isinstance(one, list) and isinstance(other, list):
        steps = range(max(len(one), len(other)))
        pairs = [(s, _item(one, s), _item(other, s)) for s in steps]
    else:
        return None if type(one) is type(other) and one == other else pointer
    inner = (first_difference(a, b, at(pointer, step)) for step, a, b in pairs)
    return next((found for found in inner if found is not None), None)


_ABSENT = object()


def _item(values: list[Any], index: Any) -> Any:
    return values[index] if index < len(values) else _ABSENT


def _asked(demanded: bool) -> Asked | None:
    key = request.headers.get(IDEMPOTENCY_KEY)
    right = f"{IDEMPOTENCY_KEY}: 1 to {_LONGEST} printable ASCII characters of your making"
    if key is None:
        if demanded:
            raise Refused(Fault("idempotency-key-missing", "", f"no {IDEMPOTENCY_KEY}", right))
        return None
    if not 0 < len(key) <= _LONGEST or not key.isascii() or not key.isprintable():
        raise Refused(Fault("bad-request", "", f"an {IDEMPOTENCY_KEY} that can't be kept", right))
    key_id = the_actor().key_id
    # A key is per access key; without one there is nobody whose request it could repeat.
    return None if key_id is None else Asked(key_id, request.method, request.path, key)


def _refuse_unread(sent: bytes) -> None:
    """Who sends a reason, say, to a call that reads none must not take it for kept."""
    if sent.strip() in (b"", b"{}") or takes_body(current_app.view_functions[str(request.endpoint)]):
        return
    raise Refused(Fault("bad-request", "", "this call takes no body", "leave the body out"))


def _body() -> Any:
    """The body as parsed; of what is not JSON, its digest."""
    if request.mimetype == "application/json":
        return parsed_body(required=False).data
    raw = request.get_data()
    # A form draws a boundary anew each time that it is sent.
    boundary = request.mimetype_params.get("boundary", "").encode()
    return {"sha256": sha256(raw.replace(boundary, b"")).hexdigest()} if raw else {}


def _kept(response: Response, secrets: Sequence[str]) -> Kept:
    answer = response.get_data()
    if secrets:
        shown = json.loads(answer)
        answer = json.dumps({k: v for k, v in shown.items() if k not in secrets}).encode()
    headers = {name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers}
    return Kept(_body(), response.status_code, answer, headers)


def _again(kept: Kept) -> Response:
    pointer = first_difference(kept.body, _body())
    if pointer is not None:
        wrong = "differs from the body that this Idempotency-Key came with first"
        raise Refused(Fault("idempotency-key-reused", pointer, wrong, "the same body, or another key"))
    return Response(kept.answer, kept.status, {**kept.headers, REPLAYED: "true"})


_doing: set[Asked] = set()
_doing_lock = Lock()


@contextmanager
def _under_way(asked: Asked | None) -> Iterator[None]:
    """Refuse a request whose twin is being worked on in this process; another process waits for the lock."""
    if asked is None:
        yield
        return
    with _doing_lock:
        if asked in _doing:
            raise Refused(
                Fault("request-under-way", "", "the same request is under way", "wait and repeat it")
            )
        _doing.add(asked)
    try:
        yield
    finally:
        with _doing_lock:
            _doing.discard(asked)
