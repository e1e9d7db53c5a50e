"""The pages of the API at /docs: Swagger UI's own files, our page around them, nothing from elsewhere."""

from importlib.resources import files
from typing import Any

from flask import Response

from api.http.access import open_to_all
from api.http.published import Blueprint, answers
from settle.reckoning.problems import Fault, Refused

blp = Blueprint("pages", __name__, url_prefix="/docs", description="Pages of the API")

_ASSETS = {
    "swagger-ui.css": "text/css",
    "swagger-ui-bundle.js": "text/javascript",
    "favicon-32x32.png": "image/png",
}
# Scripts and styles are files of this server alone; Swagger UI's arrows are drawn from data: addresses.
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>The API of settle</title>
<link rel="icon" href="docs/favicon-32x32.png">
<link rel="stylesheet" href="docs/swagger-ui.css">
</head>
<body>
<div id="api"></div>
<script src="docs/swagger-ui-bundle.js"></script>
<script src="docs/open.js"></script>
</body>
</html>
"""
_OPEN = """SwaggerUIBundle({
  url: "openapi.json",
  dom_id: "#api",
  deepLinking: true,
  docExpansion: "list",
  validatorUrl: null,
  showExtensions: true,
  presets: [SwaggerUIBundle.presets.apis],
});
"""


@blp.route("")
@open_to_all
@answers(200, media="text/html")
def page() -> Any:
    """The API to read and to try; it asks nobody but this server."""
    response = Response(_PAGE, mimetype="text/html")
    response.headers["Content-Security-Policy"] = _POLICY
    return response


@blp.route("/<asset>")
@open_to_all
@answers(200, media="*/*")
def asset(asset: str) -> Any:
    """A file of these pages."""
    if asset == "open.js":
        return _kept(_OPEN.encode(), "text/javascript")
    if asset not in _ASSETS:
        raise Refused(Fault("not-found", "", f"no file {asset[:30]}", "one that the page names"))
    return _kept((files("flask_swagger_ui") / "dist" / asset).read_bytes(), _ASSETS[asset])


def _kept(content: bytes, media: str) -> Response:
    response = Response(content, mimetype=media)
    response.headers["Cache-Control"] = "public, max-age=3600"
    return response
