"""Papers of what the other resources keep: pictures, records, reports, certificates."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from flask import Response, request

from api.http.access import open_to_all, scope, the_books
from api.http.body import body
from api.http.idempotency import reads, the_work
from api.http.published import Blueprint, View, answers
from api.http.representations import as_picture, on_paper, the_printer, the_shop
from api.paper.drawing import Picture
from api.paper.pictures import drift
from api.paper.render import drawn
from api.schemas.answers_papers import (
    BarListAnswer,
    CertificateAnswer,
    CertificateCheckAnswer,
    RecordAnswer,
    ReportAnswer,
    SigningKeysAnswer,
)
from api.schemas.papers import CertificateCheckSchema
from settle.books import batches, certificates, papers, quotes, reconciliations, recoveries, settlements
from settle.books.work import THE_COMMAND, Work
from settle.reckoning.problems import Fault, Faults, Refused

blp = Blueprint("papers", __name__, url_prefix="/v1", description="Papers, pictures, records, certificates")
Body = dict[str, Any]


def _picture(kind: str, document: Body, name: str) -> Picture:
    found = drawn(kind, document, the_printer())
    if name not in found:
        right = "one of " + (", ".join(found) or "none")
        raise Refused(Fault("not-found", "", f"no picture {name[:20]}", right))
    return found[name]


def _record(made: Callable[[Work, str], bytes], name: str) -> Response:
    """The file, to the byte: its reader compares it with its own canonical bytes."""
    response = Response(made(the_work(), name), mimetype="application/json")
    response.headers["Content-Disposition"] = f'attachment; filename="{name}.json"'
    return response


def _refuse_other_kinds(number: str) -> None:
    """A batch's account stands under its own address, a silver recovery's under its own; else `not-found`."""
    of = recoveries if request.path.startswith("/v1/silver-recoveries/") else batches
    of.row_of(the_work(), number)


def signs(view: View) -> View:
    """The first paper to be signed makes the house's first key, before anything is read."""

    @wraps(view)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        with the_books().reading() as work:
            there = certificates.has_key(work)
        if not there:
            with the_books().writing(THE_COMMAND) as work:
                certificates.make_first_key(work)
        return view(*args, **kwargs)

    return wrapper


@blp.route("/quotes/<number>/pictures/<name>")
@scope("quote")
@reads
@answers(200)
@as_picture
def quote_picture(number: str, name: str) -> Any:
    """A picture of a quote: `band`, `bars`."""
    return _picture("quote", quotes.shown(the_work(), number), name)


@blp.route("/settlements/<number>/pictures/<name>")
@scope("settle")
@reads
@answers(200)
@as_picture
def settlement_picture(number: str, name: str) -> Any:
    """A picture of a settlement: `bars`, `steps`."""
    return _picture("settlement", settlements.shown(the_work(), number), name)


@blp.route("/batches/<number>/reconciliation/pictures/<name>")
@blp.route("/silver-recoveries/<number>/reconciliation/pictures/<name>", endpoint="recovery_picture")
@scope("settle", "work")
@reads
@answers(200)
@as_picture
def reconciliation_picture(number: str, name: str) -> Any:
    """A picture of a reconciliation: `flow-silver`, `drift-silver`, and so of each of its metals."""
    _refuse_other_kinds(number)
    account = reconciliations.preview(the_work(), number)
    metal = name.removeprefix("drift-")
    if name != metal and metal in account["metals"]:
        return drift(papers.drift_points(the_work(), metal), the_printer())
    return _picture("reconciliation", account, name)


@blp.route("/quotes/<number>/record")
@scope("quote")
@signs
@reads
@answers(200, RecordAnswer)
def quote_record(number: str) -> Any:
    """A quote as one self-contained file, which `settle recompute` reads."""
    return _record(papers.quote_record, number)


@blp.route("/settlements/<number>/record")
@scope("settle")
@signs
@reads
@answers(200, RecordAnswer)
def settlement_record(number: str) -> Any:
    """A settlement as one self-contained file."""
    return _record(papers.settlement_record, number)


@blp.route("/batches/<number>/reconciliation/record")
@blp.route("/silver-recoveries/<number>/reconciliation/record", endpoint="recovery_record")
@scope("settle", "work")
@signs
@reads
@answers(200, RecordAnswer)
def reconciliation_record(number: str) -> Any:
    """The posted accounts of a batch or a silver recovery as one self-contained file."""
    _refuse_other_kinds(number)
    return _record(papers.reconciliation_record, number)


@blp.route("/lots/<number>/assays")
@scope("quote", "work")
@reads
@answers(200, ReportAnswer)
@on_paper("report")
def assay_report(number: str) -> Any:
    """Assay and outturn of a lot: weights, assays, what came out, what it is credited."""
    return papers.report(the_work(), number)


@blp.route("/lots/<number>/bars")
@scope("quote", "work")
@reads
@answers(200, BarListAnswer)
@on_paper("bar_list")
def bar_list(number: str) -> Any:
    """The bars of a lot."""
    return papers.bar_list(the_work(), number)


@blp.route("/bars/<serial>/certificate")
@scope("work", "quote")
@signs
@reads
@answers(200, CertificateAnswer)
@on_paper("certificate", code="certificate")
def certificate(serial: str) -> Any:
    """What the house says of one bar, signed (A6). The first one makes the house's first key."""
    return certificates.certificate(the_work(), serial, the_shop().name)


@blp.route("/certificate-checks", methods=["POST"])
@open_to_all
@reads
@body(CertificateCheckSchema)
@answers(200, CertificateCheckAnswer)
def check_certificate(data: Body, faults: Faults) -> Any:
    """Whether a certificate is ours, unaltered and in force. Anyone may ask."""
    faults.refuse_if_any()
    return certificates.check(the_work(), data["certificate"])


@blp.route("/certificate-keys")
@open_to_all
@reads
@answers(200, SigningKeysAnswer)
def certificate_keys() -> Any:
    """The keys that certificates are signed with (RFC 7517), retired ones too."""
    return {"keys": certificates.keys(the_work())}
