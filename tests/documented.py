"""Every answer that an app gives in a test is held against the document that the app publishes."""

import json
import re
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Any
from weakref import WeakKeyDictionary

import jsonschema_rs
from flask import Flask, Response, request, request_finished

Json = dict[str, Any]


@dataclass
class Document:
    """A published document, and the validators that were made of it so far."""

    spec: Json
    validators: dict[tuple[str, str, int, str], Any] = field(default_factory=dict)

    @cached_property
    def registry(self) -> Any:
        return jsonschema_rs.Registry([("urn:published", self.spec)])

    def faults(self, rule: str, method: str, response: Response) -> list[str]:
        """In what an answer differs from what is said of it."""
        path = re.sub(r"<(?:[^:>]+:)?([^>]+)>", r"{\1}", rule)
        operation = self.spec["paths"].get(path, {}).get(method.lower())
        if operation is None:
            return ["the operation is not documented"]
        said = operation["responses"].get(str(response.status_code))
        if said is None:
            return [f"{response.status_code} is not documented: {response.get_data()[:300]!r}"]
        if "$ref" in said:
            said = self.spec["components"]["responses"][said["$ref"].rpartition("/")[2]]
        return [*self._of_content(said, (path, method, response)), *_of_kind(operation, response)]

    def _of_content(self, said: Json, answered: tuple[str, str, Response]) -> list[str]:
        path, method, response = answered
        content = said.get("content", {})
        if not content and not response.get_data():
            return []
        found = content.get(response.mimetype or "") or content.get("*/*")
        if found is None:
            return [f"{response.status_code}: {response.mimetype} is not documented, {', '.join(content)} is"]
        if not (response.mimetype or "").endswith("json"):
            return []
        key = (path, method, response.status_code, str(response.mimetype))
        if key not in self.validators:
            self.validators[key] = jsonschema_rs.Draft202012Validator(
                _anchored(found["schema"]), registry=self.registry
            )
        errors = self.validators[key].iter_errors(json.loads(response.get_data()))
        return [f"{response.status_code} {_where(error)}: {error.message[:300]}" for error in errors]


def _anchored(schema: Any) -> Any:
    """A schema whose references say that they are to the published document."""
    if isinstance(schema, dict):
        told = {name: _anchored(inner) for name, inner in schema.items()}
        return told | {"$ref": f"urn:published{told['$ref']}"} if "$ref" in told else told
    return [_anchored(inner) for inner in schema] if isinstance(schema, list) else schema


def _where(error: Any) -> str:
    return "/" + "/".join(map(str, error.instance_path))


def _of_kind(operation: Json, response: Response) -> list[str]:
    """A problem whose type the operation doesn't name, or a fault in it."""
    if response.mimetype != "application/problem+json":
        return []
    problem = json.loads(response.get_data())
    kinds = {said["type"].rpartition("/")[2] for said in [problem, *problem.get("errors", ())]}
    unnamed = kinds - set(operation["x-problems"])
    return [f"it names no problem {', '.join(sorted(unnamed))}"] if unnamed else []


@cache
def _read(text: str) -> Document:
    return Document(json.loads(text))


def _published(app: Flask) -> Document:
    """What an app publishes, as a reader gets it; apps that publish the same share one."""
    with app.app_context():
        return _read(json.dumps(app.view_functions["openapi"]()))


_documents: WeakKeyDictionary[Flask, Document] = WeakKeyDictionary()
# What was found since the last test ended.
found: list[str] = []
# Errors of ours are promised to nobody, and what was not modified has no body to be checked.
_NOT_LOOKED_AT = {304, 500}


def _look(app: Flask, response: Response, **_: Any) -> None:
    rule, method = request.url_rule, request.method
    if rule is None or rule.rule == "/openapi.json" or method in ("HEAD", "OPTIONS"):
        return
    # An app that a test made up says less of itself than the API does.
    if (
        response.status_code in _NOT_LOOKED_AT
        or response.direct_passthrough
        or "access" not in app.blueprints
    ):
        return
    document = _documents.get(app) or _documents.setdefault(app, _published(app))
    found.extend(f"{method} {rule.rule}: {fault}" for fault in document.faults(rule.rule, method, response))


def differing() -> list[str]:
    """What was found since the last time that this was asked."""
    told = sorted(set(found))
    found.clear()
    return told


def watch() -> None:
    """Look at every answer from now on."""
    request_finished.connect(_look)
