"""A document that answers for itself: all that it rests on in one piece of JSON, and the reckoning run again.

A record holds `inputs` (terms, prices, items, scales, what was weighed and
assayed), the `answer` as it was given, `about` (what no reckoning finds:
number, client, times, notices), the hash of the answer, a signature over
`signed`, and the hash of all of it. `faults_of` needs the record alone.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from settle.reckoning import document, notices
from settle.reckoning.batch import Held, LotIn, Weighed, reconcile
from settle.reckoning.comparison import compare
from settle.reckoning.concession import concede
from settle.reckoning.due import Due, due
from settle.reckoning.exact import exactly, plain
from settle.reckoning.item import Scale
from settle.reckoning.problems import NO_FAULTS, Faults, Refused, at
from settle.reckoning.quote import Quoted, read_request, reckon
from settle.reckoning.reading import Json
from settle.reckoning.settlement import read_refined, settle
from settle.reckoning.terms import Terms, read_terms
from settle.reckoning.working import Working

# What the reckoning doesn't find again: notices are words for a reader, and no figure rests on them.
_TOLD = ("notices",)


def made(kind: str, inputs: Json, answer: Json, answer_hash: Any) -> Json:
    """A record without its signature and hash. `kind` is quote, settlement or reconciliation."""
    return {
        "record": kind,
        "inputs": inputs,
        "about": _about(kind, answer, reckoned(kind, inputs)),
        "answer": answer,
        "answer_hash": answer_hash,
    }


def reckoned(kind: str, inputs: Json) -> Json:
    """What the reckoning finds from the inputs of a record; without notices."""
    return _RECKONED[kind](inputs)


def signed(record: Json) -> Json:
    """What the signature of a record is over."""
    return {"record": record["record"], "sha256": document.digest(_without(record, "signature", "hash"))}


def sealed(record: Json, signature: str | None) -> bytes:
    """The record's file: canonical bytes, hash last of all."""
    whole = {**record, "signature": signature}
    return document.canonical({**whole, "hash": document.digest(whole)})


def altered(raw: bytes) -> list[str]:
    """What shows that a record's file is not the one that was written, short of reckoning."""
    try:
        record = json.loads(raw)
        canonical = document.canonical(record)
    except (ValueError, RecursionError):
        return ["it is not JSON that can be read"]
    if not isinstance(record, dict):
        return ["it is not a record"]
    if canonical != raw:
        return ["its bytes are not canonical: another hand wrote it"]
    if record.get("hash") != document.digest(_without(record, "hash")):
        return ["its hash is not that of what it holds: it was altered"]
    return []


def faults_of(raw: bytes) -> list[str]:
    """What is wrong with a record's file, a sentence each; none where all is equal, to the last byte."""
    found = altered(raw)
    try:
        record = json.loads(raw)
    except (ValueError, RecursionError):
        return found
    return found + (recompute(record) if isinstance(record, dict) else [])


def recompute(record: Json) -> list[str]:
    """Run the reckoning again on the inputs of a record, and name each figure that differs."""
    try:
        again = _again(record)
    except Refused as refused:
        return [f"it can't be reckoned again: {refused}"]
    except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError) as error:
        return [f"it can't be reckoned again: {type(error).__name__}: {error}"]
    found = [f"{where}: the record says {said}, reckoned again it is {now}" for where, said, now in again]
    if record.get("answer_hash") != _hash(record["record"], record["answer"]):
        found.append("/answer_hash: not the hash of the answer")
    return found


def scale_inputs(scale: Scale) -> Json:
    """A scale, as a record holds it: grams."""
    most = None if scale.max_g is None else plain(scale.max_g)
    return {"division": plain(scale.division_g), "min": plain(scale.min_g), "max": most}


def reconciliation_inputs(
    terms: Json,
    lots: Sequence[LotIn],
    lent: Sequence[Weighed],
    out: Sequence[Weighed],
    held: Sequence[Held],
) -> Json:
    """What the account of one metal rests on; `terms` holds them and their number."""
    return {
        **terms,
        "lots": [_lot_inputs(i) for i in lots],
        "lent": [_weighed_inputs(w) for w in lent],
        "out": [_weighed_inputs(w) for w in out],
        "held": [{"estimate": plain(h.estimate_g), "u": plain(h.u_g)} for h in held],
    }


def _lot_inputs(of: LotIn) -> Json:
    return {"lot": of.lot, "own": _weighed_inputs(of.own), "need": plain(of.need_g)}


def _again(record: Json) -> list[tuple[str, str, str]]:
    found = reckoned(record["record"], record["inputs"])
    about, answer = record["about"], record["answer"]
    if record["record"] == "reconciliation":
        whole = {metal: {**found[metal], **about[metal]} for metal in found}
    else:
        whole = {**found, **about}
    return list(_differences(answer, whole, "/answer"))


def _differences(said: Any, again: Any, pointer: str) -> Iterator[tuple[str, str, str]]:
    """Where two JSON-shaped values differ: the pointer, and what stands there in each."""
    if isinstance(said, Mapping) and isinstance(again, Mapping):
        steps: Sequence[Any] = sorted({*said, *again})
        for step in steps:
            yield from _differences(said.get(step, _ABSENT), again.get(step, _ABSENT), at(pointer, step))
    elif isinstance(said, list) and isinstance(again, list) and len(said) == len(again):
        for i, (one, other) in enumerate(zip(said, again, strict=True)):
            yield from _differences(one, other, at(pointer, i))
    elif type(said) is not type(again) or said != again:
        yield pointer, _brief(said), _brief(again)


class _Absent:
    def __repr__(self) -> str:
        return "nothing"


_ABSENT = _Absent()


def _brief(value: Any) -> str:
    text = repr(value) if isinstance(value, _Absent) else json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 80 else text[:77] + "…"


def _without(of: Json, *names: str) -> Json:
    return {k: v for k, v in of.items() if k not in names}


def _about(kind: str, answer: Json, found: Json) -> Json:
    if kind == "reconciliation":
        return {metal: _about("", answer[metal], found[metal]) for metal in answer}
    return {k: v for k, v in answer.items() if k not in found}


def _hash(kind: str, answer: Json) -> Any:
    if kind == "reconciliation":
        return {metal: document.digest(of) for metal, of in answer.items()}
    return document.digest(answer)


def _quote(inputs: Json) -> Json:
    rows = Working()
    return _without(document.estimate(_quoted(inputs, rows), [], rows), *_TOLD)


def _quoted(inputs: Json, rows: Working) -> Quoted:
    faults = Faults()
    scales = {name: _scale(name, of) for name, of in inputs["scales"].items()}
    request = read_request(inputs["asked"], _terms(inputs), {}, scales, faults, again=True)
    faults.refuse_if_any()
    return reckon(request, rows)


def _settlement(inputs: Json) -> Json:
    quoted = None if inputs["quoted"] is None else _quoted(inputs["quoted"], Working(kept=False))
    answer, _ = settled(_terms(inputs), inputs["refined"], quoted)
    return _without(answer, *_TOLD)


def settled(terms: Terms, kept: Json, quoted: Quoted | None) -> tuple[dict[str, Any], Due]:
    """The document of a settlement from the inputs that it keeps, and what is due by it.

    What the books post and what a stranger reckons again are put together here, both.
    """
    terms = concede(terms, kept["concessions"], NO_FAULTS)
    refined = read_refined(kept, terms)
    rows = Working()
    of = due(settle(terms, refined, rows), refined.posted)
    steps = compare(quoted, refined, of.whole) if quoted else ()
    told = notices.of_settlement(refined, of)
    answer = document.settlement(refined, of, quoted, steps, told, rows)
    return {"further_to": kept["further_to"], **answer}, of


def _reconciliation(inputs: Json) -> Json:
    return {metal: _reconciled(metal, of) for metal, of in inputs.items()}


def _reconciled(metal: str, of: Json) -> Json:
    rows, terms = Working(), _terms(of)
    lots = [_lot_in(i) for i in of["lots"]]
    lent, out = [_weighed(w) for w in of["lent"]], [_weighed(w) for w in of["out"]]
    held = [Held(exactly(h["estimate"]), exactly(h["u"])) for h in of["held"]]
    account = reconcile(terms, metal, lots, lent, out, held, rows)
    return _without(document.reconciliation(account, [i.lot for i in lots], terms, [], rows), *_TOLD)


def _lot_in(of: Json) -> LotIn:
    return LotIn(of["lot"], _weighed(of["own"]), exactly(of["need"]))


_RECKONED: Mapping[str, Callable[[Json], Json]] = {
    "quote": _quote,
    "settlement": _settlement,
    "reconciliation": _reconciliation,
}


def _terms(inputs: Json) -> Terms:
    return read_terms(inputs["terms"], inputs["terms_number"])


def _scale(name: str, of: Json) -> Scale:
    most = None if of["max"] is None else exactly(of["max"])
    return Scale(name, exactly(of["division"]), exactly(of["min"]), most)


def _weighed_inputs(of: Weighed) -> Json:
    return {
        "weight": plain(of.weight_g),
        "division": plain(of.division_g),
        "assay": plain(of.assay_ppt),
        "u2": plain(of.assay_u2),
        "weighings": of.weighings,
    }


def _weighed(of: Json) -> Weighed:
    weight, division, assay, u2 = (exactly(of[name]) for name in ("weight", "division", "assay", "u2"))
    return Weighed(weight, division, assay, u2, of["weighings"])
