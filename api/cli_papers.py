"""Commands about papers: recompute a record, verify what is signed, keys to sign with.

The first two need neither books nor network: they are for whoever holds the paper.
"""

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

import click

FAULTY = 2
_MOST_BYTES = 32 * 1024 * 1024


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def recompute(file: Path) -> None:
    """Run a record's reckoning again and say whether every figure is equal.

    FILE is what `…/record` of a quote, settlement or reconciliation answers, to the byte.

    Example:  settle recompute S-2026-0001.json
    """
    from settle.reckoning.record import faults_of

    faults = faults_of(_bytes(file))
    if faults:
        _refuse(faults)
    click.echo(f"{file.name}: equal, to the last figure.")


@click.command()
@click.argument("what", metavar="FILE_OR_TOKEN")
@click.option(
    "--key",
    "keys",
    required=True,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The published key or keys: what GET /v1/certificate-keys answers.",
)
def verify(what: str, keys: Path) -> None:
    """Check a signed certificate or record against a published key, without a network.

    FILE_OR_TOKEN is the text of a certificate, as its code holds it, or a file with it or with a record.
    Whether a certificate was withdrawn since, only the house can say.

    Example:  settle verify BAR-2026-0001.txt --key certificate-keys.json
    """
    from settle.books import signed

    known = _keys(keys)
    raw = _bytes(Path(what)) if _is_file(what) else what.encode()
    try:
        if (token := _certificate_in(raw)) is not None:
            says, _ = signed.read(token, known)
        elif raw.lstrip().startswith(b"{"):
            says = _of_record(raw, known)
        else:
            says, _ = signed.read(raw.decode("ascii").strip(), known)
    except ValueError as error:
        _refuse([str(error)])
    click.echo("Signed by this key, and unaltered. It says:")
    click.echo(json.dumps(says, ensure_ascii=False, indent=2))


@click.command("certificate-keys")
@click.option("--rotate", is_flag=True, help="Make a new key; the old one is retired and stays published.")
def certificate_keys(rotate: bool) -> None:
    """Print the keys that certificates are signed with, as JSON; the first call makes the first key.

    Example:  settle certificate-keys --rotate
    """
    from api.settings import read_settings
    from settle.books import certificates
    from settle.books.work import THE_COMMAND, open_books

    settings = read_settings()
    books = open_books(settings.database_url, time_zone=settings.time_zone)
    with books.writing(THE_COMMAND) as work:
        if rotate or not certificates.has_key(work):
            certificates.make_key(work)
        click.echo(json.dumps({"keys": certificates.keys(work)}, indent=2))


COMMANDS = (recompute, verify, certificate_keys)


def _certificate_in(raw: bytes) -> str | None:
    """The signed text in what GET /v1/bars/{serial}/certificate answers."""
    try:
        found = json.loads(raw)
    except ValueError:
        return None
    token = found.get("certificate") if isinstance(found, dict) else None
    return token if isinstance(token, str) else None


def _of_record(raw: bytes, known: list[Mapping[str, Any]]) -> Mapping[str, Any]:
    """What the signature of a record's file says, once it fits what the file holds."""
    from settle.books import signed
    from settle.reckoning import record

    faults = record.faults_of(raw)
    if faults:
        raise ValueError("; ".join(faults))
    whole = json.loads(raw)
    says, _ = signed.read(str(whole["signature"]), known)
    if says != record.signed(whole):
        raise ValueError("its signature is of another record")
    return {**says, "about": whole["about"]}


def _keys(file: Path) -> list[Mapping[str, Any]]:
    try:
        found = json.loads(_bytes(file))
    except ValueError:
        _refuse([f"{file.name} is not JSON"])
    keys = found.get("keys", [found]) if isinstance(found, dict) else found
    if not isinstance(keys, list) or not all(isinstance(k, dict) and {"kid", "x"} <= k.keys() for k in keys):
        _refuse([f"{file.name} holds no key"])
    return keys


def _bytes(file: Path) -> bytes:
    with file.open("rb") as opened:
        raw = opened.read(_MOST_BYTES + 1)
    if len(raw) > _MOST_BYTES:
        _refuse([f"{file.name} is larger than any paper of ours"])
    return raw


def _is_file(what: str) -> bool:
    try:
        return Path(what).is_file()
    except (OSError, ValueError):
        return False


def _refuse(faults: list[str]) -> NoReturn:
    for fault in faults:
        click.echo(fault, err=True)
    sys.exit(FAULTY)
