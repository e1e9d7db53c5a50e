"""Statements signed by the house: JWS in compact form (RFC 7515), Ed25519 (RFC 8037).

Nothing here reads the books: a stranger with the published key checks the same
way. A signed text must equal its canonical bytes, so that no other text says the same.
"""

import base64
import binascii
import json
from collections.abc import Iterable, Mapping
from typing import Any, Final

from joserfc import jws
from joserfc.errors import JoseError
from joserfc.jwk import OKPKey

from settle.reckoning.document import canonical
from settle.reckoning.reading import Json

ALGORITHM: Final = "Ed25519"


def new_key() -> tuple[str, Json, str]:
    """A key's name (its thumbprint, RFC 7638), what is published of it, and what is kept secret."""
    key = OKPKey.generate_key(ALGORITHM)
    name = key.thumbprint()
    return name, published(name, key.as_dict(private=False)), json.dumps(key.as_dict(private=True))


def published(name: str, public: Mapping[str, Any]) -> Json:
    """A public key as JSON Web Key (RFC 7517)."""
    return {"kty": "OKP", "crv": ALGORITHM, "x": public["x"], "kid": name, "alg": ALGORITHM, "use": "sig"}


def sign(statement: Json, name: str, secret: str) -> str:
    """The compact text of a signed statement."""
    header = {"alg": ALGORITHM, "kid": name}
    key = OKPKey.import_key(json.loads(secret))
    return jws.serialize_compact(header, canonical(statement), key, algorithms=[ALGORITHM])


def read(text: str, keys: Iterable[Json]) -> tuple[Json, str]:
    """The statement and the name of its key. `ValueError` says what is wrong with the text."""
    header, payload = _parts(text)
    known = {key["kid"]: key for key in keys}
    name = header.get("kid")
    if not isinstance(name, str) or name not in known:
        raise ValueError("it is signed with none of these keys")
    try:
        key = OKPKey.import_key({k: known[name][k] for k in ("kty", "crv", "x")})
        jws.deserialize_compact(text, key, algorithms=[ALGORITHM])
    except (JoseError, ValueError, KeyError) as error:
        raise ValueError("its signature doesn't fit: it was altered") from error
    return payload, name


def key_named(text: str) -> str | None:
    """The key that a text says it is signed with; None where it is no signed text."""
    try:
        name = _parts(text)[0].get("kid")
    except ValueError:
        return None
    return name if isinstance(name, str) else None


def _parts(text: str) -> tuple[Json, Json]:
    parts = text.split(".") if text.isascii() else []
    if len(parts) != 3:
        raise ValueError("it is not a signed statement")
    _exactly(parts[2])
    header, payload = _object(parts[0]), _object(parts[1])
    if header.keys() != {"alg", "kid"}:
        raise ValueError("its header is not one of ours")
    return header, payload


def _object(part: str) -> Json:
    raw = _exactly(part)
    try:
        found = json.loads(raw)
        same = isinstance(found, dict) and canonical(found) == raw
    except (ValueError, RecursionError) as error:
        raise ValueError("it is not a signed statement") from error
    if not same:
        raise ValueError("its bytes are not canonical: it was altered")
    return dict(found)


def _exactly(part: str) -> bytes:
    """base64url without padding; the unused bits of its last character must be zero, or two texts said
    the same."""
    try:
        raw = base64.b64decode(part + "=" * (-len(part) % 4), b"-_", validate=True)
    except (ValueError, binascii.Error) as error:
        raise ValueError("it is not a signed statement") from error
    if base64.urlsafe_b64encode(raw).rstrip(b"=").decode() != part:
        raise ValueError("its bytes are not canonical: it was altered")
    return raw
