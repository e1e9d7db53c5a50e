"""Who delivers what is due: the command once or for good, and the server beside its work."""

import time
from collections.abc import Callable
from typing import Any

from click.testing import CliRunner
from receiver import Receiver
from staged import House

from api import cli
from api.cli_access import deliver_beside
from api.settings import read_settings

PRICES = {"prices": {"gold": {"amount": "61.30", "currency": "GBP", "per": "g"}}}


def settings(house: House, **more: str) -> dict[str, str]:
    return {"SETTLE_DATABASE_URL": str(house.books.engine.url), **more}


def waiting(house: House, receiver: Receiver) -> None:
    """A hook and an event whose time has come by the clock of this machine too."""
    house.till.post("/v1/hooks", {"url": receiver.url})
    house.till.post("/v1/prices", PRICES)


def test_the_command_delivers_what_is_due_once(house: House, receiver: Receiver) -> None:
    waiting(house, receiver)
    ran: Callable[..., Any] = CliRunner().invoke
    refused = ran(cli.main, ["deliver", "--once"], env=settings(house))
    assert (refused.exit_code, receiver.got) == (0, [])
    (delivery,) = house.till.listed("/v1/hooks/H-1/deliveries")
    assert delivery["last_answer"] == "refused: not https"
    house.till.post(f"/v1/hooks/H-1/deliveries/{delivery['id']}/replay")
    ended = ran(cli.main, ["deliver", "--once"], env=settings(house, SETTLE_HOOKS_PRIVATE="true"))
    assert (ended.exit_code, ended.stderr) == (0, "1 attempts.\n")
    assert receiver.kinds == ["price.entered"]


def test_the_server_delivers_beside_its_work_where_a_setting_says_so(
    house: House, receiver: Receiver
) -> None:
    waiting(house, receiver)
    deliver_beside(read_settings(settings(house, SETTLE_HOOKS_PRIVATE="true")))
    time.sleep(0.3)
    assert receiver.got == []
    deliver_beside(read_settings(settings(house, SETTLE_HOOKS_PRIVATE="true", SETTLE_DELIVER="true")))
    end = time.monotonic() + 20
    while not receiver.got and time.monotonic() < end:
        time.sleep(0.05)
    assert receiver.kinds == ["price.entered"]
