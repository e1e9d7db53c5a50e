"""Access: keys, and the people at the till."""

from typing import Any

from api.http.access import scope
from api.http.body import body
from api.http.conditional import if_match, must_match, tagged, version
from api.http.idempotency import keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, answers
from api.schemas.access import KeySchema, PersonSchema
from api.schemas.answers_shop import KeyAnswer, KeysAnswer, NewKeyAnswer, PeopleAnswer, PersonAnswer
from settle.books import access, people
from settle.books.listing import Page
from settle.reckoning.problems import Faults

blp = Blueprint("access", __name__, url_prefix="/v1", description="Access")
Body = dict[str, Any]
# That a key was used is no change of it, or nobody could renew the one he renews it with.
_BESIDE = ("secret", "last_used_at")


def _tagged(found: Body, **more: str) -> Any:
    """A key's answer; that it was renewed shows in its ETag alone."""
    return tagged(found, *_BESIDE, unseen=access.hash_of(the_work(), found["id"]), **more)


@blp.route("/keys", methods=["POST"])
@scope("owner")
@keeps(secrets=["secret"])
@body(KeySchema)
@answers(201, NewKeyAnswer)
def make_key(data: Body, faults: Faults) -> Any:
    """Make an access key; its secret is shown this once. With origins it is a browser's key."""
    found = access.add(the_work(), data, faults)
    return _tagged(found, Location=f"/v1/keys/{found['id']}")


@blp.route("/keys")
@scope("owner")
@reads
@paged
@answers(200, KeysAnswer)
def list_keys(page: Page) -> Any:
    """The keys, newest first, revoked ones too; when each was last used, no secret."""
    found, listed = access.listed(the_work(), page)
    return page_answer(found, listed.next_after)


@blp.route("/keys/<name>")
@scope("owner")
@reads
@answers(200, KeyAnswer)
def show_key(name: str) -> Any:
    """One key, without its secret."""
    return _tagged(access.find_key_by_id(the_work(), name))


@blp.route("/keys/<name>", methods=["DELETE"])
@scope("owner")
@keeps()
@answers(204)
def revoke_key(name: str) -> Any:
    """Revoke a key for good; the last owner's stays."""
    access.revoke_key(the_work(), name)


@blp.route("/keys/<name>/secret", methods=["POST"])
@scope("owner")
@keeps(secrets=["secret"])
@if_match
@answers(201, NewKeyAnswer)
def renew_key(name: str) -> Any:
    """Another secret for the same key, shown this once; the old one is void at once."""
    work = the_work()
    shown = access.find_key_by_id(work, name)
    must_match(version(shown, *_BESIDE, unseen=access.hash_of(work, name)))
    return _tagged({**shown, "secret": access.renew_secret(work, name)})


@blp.route("/people", methods=["POST"])
@scope("owner")
@keeps()
@body(PersonSchema)
@answers(201, PersonAnswer)
def add_person(data: Body, faults: Faults) -> Any:
    """Enter a person at the till. Once there is one, Settle-Person must name one of them."""
    return people.add(the_work(), data, faults)


@blp.route("/people")
@scope("read")
@reads
@paged
@answers(200, PeopleAnswer)
def list_people(page: Page) -> Any:
    """The people at the till, newest first."""
    found, listed = people.listed(the_work(), page)
    return page_answer(found, listed.next_after)


@blp.route("/people/<name>", methods=["DELETE"])
@scope("owner")
@keeps()
@answers(204)
def remove_person(name: str) -> Any:
    """Somebody leaves the till; what was done keeps the name."""
    people.remove(the_work(), name)
