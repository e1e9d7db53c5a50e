"""Bodies that are a picture: the raw bytes, or one file of a form."""

from functools import wraps
from typing import Any

from flask import current_app, request

from api.http.body import refuse_coded
from api.http.published import View, documented
from settle.books.photographs import MEDIA_TYPES, cleaned
from settle.reckoning.problems import Fault, Refused

_FILE = {"type": "string", "format": "binary"}
_FORM = {"type": "object", "properties": {"photograph": _FILE}, "required": ["photograph"]}
_CONTENT = {
    **{media_type: {"schema": _FILE} for media_type in MEDIA_TYPES.values()},
    "multipart/form-data": {"schema": _FORM},
}


def picture_body(view: View) -> View:
    """Give the view `picture=`, cleaned. It stands above `keeps`: no picture is decoded under the lock.

    What it is, its content says, whatever its name and media type claim. Larger than
    other bodies it may be: `photograph_limit` of the settings.
    """

    @wraps(view)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        request.max_content_length = current_app.config["SETTLE"].photograph_limit
        return view(*args, picture=cleaned(_bytes()), **kwargs)

    said = {"requestBody": {"required": True, "content": _CONTENT}}
    documented(wrapper, statuses=(413, 415), manual_doc=said)
    return wrapper


def _bytes() -> bytes:
    refuse_coded()
    # Read whole first, so that it is still there for the Idempotency-Key to be compared with.
    raw = request.get_data()
    if request.mimetype != "multipart/form-data":
        return raw
    files = [file for _, file in request.files.items(multi=True)]
    if len(files) != 1:
        raise Refused(Fault("bad-request", "", f"{len(files)} files in the form", "one photograph"))
    return files[0].read()
