"""Certificates of bars: keys made and rotated, statements signed, checked, withdrawn with their bar."""

from typing import Any

from sqlalchemy import Row, select

from settle.books import bars, records, signed
from settle.books.columns import moment_text
from settle.books.tables import bars as bars_table
from settle.books.tables import certificate_keys
from settle.books.work import Work
from settle.reckoning.exact import exactly, shown
from settle.reckoning.problems import Fault, Refused
from settle.reckoning.reading import Json

# Who the house calls itself may change; what a bar is may not.
_NOT_OF_THE_BAR = ("maker", "issuer")


def has_key(work: Work) -> bool:
    """Whether there is a key to sign with."""
    return _current(work) is not None


def make_first_key(work: Work) -> None:
    """A key where there is none yet."""
    if not has_key(work):
        make_key(work)


def make_key(work: Work) -> str:
    """A new key to sign with, from now on; the old one is retired and goes on being published."""
    current = certificate_keys.update().where(certificate_keys.c.retired_at.is_(None))
    work.connection.execute(current.values(retired_at=work.now))
    name, public, secret = signed.new_key()
    work.connection.execute(
        certificate_keys.insert().values(id=name, public=public, secret=secret, made_at=work.now)
    )
    return name


def keys(work: Work) -> list[dict[str, Any]]:
    """Every key as it is published (RFC 7517), retired ones too, the newest first."""
    rows = work.connection.execute(select(certificate_keys).order_by(certificate_keys.c.n.desc()))
    return [
        {
            **row.public,
            "made_at": moment_text(row.made_at),
            "retired_at": None if row.retired_at is None else moment_text(row.retired_at),
        }
        for row in rows
    ]


def sign(work: Work, statement: Json) -> tuple[str, str]:
    """A statement signed with the key in force, and the key's name. `wrong-state` where there is none."""
    key = _current(work)
    if key is None:
        right = "`settle certificate-keys` makes one"
        raise Refused(Fault("wrong-state", "", "the house has no key to sign with", right))
    return signed.sign(statement, key.id, key.secret), str(key.id)


def certificate(work: Work, serial: str, house: str) -> dict[str, Any]:
    """What the house says of one bar, signed; `not-found` where there is none. No client's name is in it."""
    bar = bars.shown(work, serial)
    # Of a bought bar the house is no maker: it passes on what another one states.
    says = {**_says(work, bar), "issuer" if "mark" in bar else "maker": house}
    token, key = sign(work, says)
    return {
        "serial": serial,
        "in_force": bar["state"] != "withdrawn",
        "says": says,
        "certificate": token,
        "key": key,
        "made_at": bar["made_at"],
    }


def check(work: Work, text: str) -> dict[str, Any]:
    """Whether a certificate is ours, unaltered and in force, and what it says if so."""
    known = keys(work)
    named = signed.key_named(text)
    answer: dict[str, Any] = {"ours": False, "unaltered": False, "in_force": False, "says": None}
    try:
        says, name = signed.read(text.strip(), known)
    except ValueError as error:
        ours = named is not None and any(key["kid"] == named for key in known)
        return answer | {"ours": ours, "why": str(error), "key": None}
    key = next(key for key in known if key["kid"] == name)
    why = _why_not(work, says)
    return {"ours": True, "unaltered": True, "in_force": why is None, "says": says, "why": why, "key": key}


def _why_not(work: Work, says: Json) -> str | None:
    """Why a certificate with our signature is no longer in force."""
    serial = says.get("serial")
    known = select(bars_table.c.serial).where(bars_table.c.serial == serial)
    if work.connection.execute(known).scalar() is None:
        return "it is not a certificate of a bar in these books"
    bar = bars.shown(work, str(serial))
    if bar["state"] == "withdrawn":
        return "the bar was withdrawn"
    if _says(work, bar) != {k: v for k, v in says.items() if k not in _NOT_OF_THE_BAR}:
        return "the bar was weighed or assayed anew since: another certificate stands for it"
    return None


def _says(work: Work, bar: Json) -> dict[str, Any]:
    """What a certificate says of a bar (A6): stated figures, never more than what is there, and what they
    rest on: an assay by its method and report, or what the maker of a bought bar states."""
    data = work.connection.execute(
        select(bars_table.c.data).where(bars_table.c.serial == bar["serial"])
    ).scalar_one()
    outturn = records.find(work, data.get("outturn", ""))
    assay = data if outturn is None else outturn.data["assay"]
    bought = "mark" in bar
    return {
        "batch": bar["batch"],
        "date": bar["made_at"][:10],
        "fine": {"amount": bar["stated_fine"]["g"], "unit": "g"},
        "fineness": bar["stated_fineness"],
        "metal": bar["metal"],
        # An assay that was entered before methods were asked for names none.
        "method": assay.get("method"),
        "serial": bar["serial"],
        "u": None if bought else _u(data["assay_u"]),
        **({"report": assay["report"]} if "report" in assay else {}),
        **({"mark": bar["mark"]} if bought else {}),
        "weight": {"amount": bar["stated_weight"]["g"], "unit": "g"},
    }


def _u(text: str) -> str:
    """Standard uncertainty in parts per thousand, only shown (A8)."""
    return shown(exactly(text), 4)


def _current(work: Work) -> Row[Any] | None:
    in_force = certificate_keys.c.retired_at.is_(None)
    query = select(certificate_keys).where(in_force).order_by(certificate_keys.c.n.desc()).limit(1)
    return work.connection.execute(query).first()
