"""The catalogue of problems: what each type means, a request that makes it, as JSON or as a page."""

import json
from collections.abc import Mapping
from functools import cache
from typing import Any

from flask import Response, request
from markupsafe import Markup

from api.shipped import shipped
from settle.reckoning.problems import KINDS, Fault, Refused

_PAGE = Markup("""<!doctype html>
<html lang="en">
<head><meta charset="utf-8"><title>{title}</title></head>
<body>
<h1>{title}</h1>
<p><code>{type}</code>, status {status}</p>
<p>{about}</p>
<h2>A request that makes it</h2>
<p><code>at</code> says how far the books are, <code>before</code> what is asked first, <code>key</code> the
scope of the key; the rest is the request.</p>
<pre>{example}</pre>
</body>
</html>
""")


@cache
def catalogue() -> Mapping[str, Any]:
    """Kind → what it means and the request that makes it (`shared/problems.json`)."""
    read: Mapping[str, Any] = json.loads((shipped("shared") / "problems.json").read_text("utf-8"))
    return read


def described(kind: str) -> dict[str, Any]:
    """A problem's type as JSON. Raises `Refused` (not-found)."""
    if kind not in KINDS:
        raise Refused(Fault("not-found", "", "no such type of problem", "the type that a problem names"))
    found, told = KINDS[kind], dict(catalogue()[kind])
    return {
        "type": f"/problems/{found.name}",
        "status": found.status,
        "title": found.title,
        "about": told.pop("about"),
        "calls": told.pop("calls", []),
        "example": told,
    }


def answered(kind: str) -> Any:
    """A problem's type, as the reader accepts it: a page for a browser, else JSON."""
    told = described(kind)
    if request.accept_mimetypes.best_match(["application/json", "text/html"]) != "text/html":
        return told, {"Vary": "Accept"}
    example = json.dumps(told["example"], indent=2, ensure_ascii=False)
    page = Response(_PAGE.format(**{**told, "example": example}), mimetype="text/html")
    page.vary.add("Accept")
    return page
