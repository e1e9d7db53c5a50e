"""Where events go: hooks, what was delivered to them, and once more."""

from typing import Any

from flask import current_app

from api.addresses import why_closed
from api.http.access import scope
from api.http.body import body
from api.http.conditional import if_match, must_match, tagged, version
from api.http.idempotency import keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.published import Blueprint, answers
from api.http.query import query, wanted
from api.schemas.access import HookSchema
from api.schemas.answers_shop import DeliveriesAnswer, DeliveryAnswer, HookAnswer, HooksAnswer, NewHookAnswer
from api.schemas.queries import DeliveriesQuery
from settle.books import hooks
from settle.books.listing import Page
from settle.reckoning.problems import Faults

blp = Blueprint("hooks", __name__, url_prefix="/v1/hooks", description="Events")
Body = dict[str, Any]


def _tagged(found: Body, **more: str) -> Any:
    """A hook's answer; that it was renewed shows in its ETag for good."""
    return tagged(found, "secret", unseen=hooks.hash_of(the_work(), found["id"]), **more)


@blp.route("", methods=["POST"])
@scope("owner")
@keeps(secrets=["secret"])
@body(HookSchema)
@answers(201, NewHookAnswer)
def add_hook(data: Body, faults: Faults) -> Any:
    """Send events to an address from now on; the secret that they are signed with is shown this once."""
    allowed = current_app.config["SETTLE"].hooks_private
    if not faults.found and not allowed and (why := why_closed(data["url"])):
        faults.add("out-of-range", "/url", why, "https to an address in the open network")
    found = hooks.add(the_work(), data, faults)
    return _tagged(found, Location=f"/v1/hooks/{found['id']}")


@blp.route("")
@scope("owner")
@reads
@paged
@answers(200, HooksAnswer)
def list_hooks(page: Page) -> Any:
    """The hooks, newest first, revoked ones too."""
    found, listed = hooks.listed(the_work(), page)
    return page_answer(found, listed.next_after)


@blp.route("/<name>")
@scope("owner")
@reads
@answers(200, HookAnswer)
def show_hook(name: str) -> Any:
    """One hook, without its secret."""
    return _tagged(hooks.shown(the_work(), name))


@blp.route("/<name>", methods=["DELETE"])
@scope("owner")
@keeps()
@answers(204)
def revoke_hook(name: str) -> Any:
    """Send nothing there any more."""
    hooks.revoke(the_work(), name)


@blp.route("/<name>/secret", methods=["POST"])
@scope("owner")
@keeps(secrets=["secret"])
@if_match
@answers(201, NewHookAnswer)
def renew_secret(name: str) -> Any:
    """Another secret, shown this once; for a day each old one signs along."""
    must_match(version(hooks.shown(the_work(), name), unseen=hooks.hash_of(the_work(), name)))
    return _tagged(hooks.renew_secret(the_work(), name))


@blp.route("/<name>/deliveries")
@scope("owner")
@query(DeliveriesQuery)
@reads
@paged
@answers(200, DeliveriesAnswer)
def list_deliveries(page: Page, asked: Body, name: str) -> Any:
    """What goes or went to a hook, newest first; `dead` is what was given up after days."""
    found, listed = hooks.deliveries_of(the_work(), name, page, wanted(asked))
    return page_answer(found, listed.next_after)


@blp.route("/<name>/deliveries/<delivery>/replay", methods=["POST"])
@scope("owner")
@keeps()
@answers(202, DeliveryAnswer)
def replay(name: str, delivery: str) -> Any:
    """Deliver an event again, under the same id."""
    return hooks.replay(the_work(), name, delivery)
