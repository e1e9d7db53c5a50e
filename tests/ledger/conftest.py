"""The fixtures of this folder, and the house they stand on, live in `ledger_house`."""

from ledger_house import *  # noqa: F403 - fixtures are found by name
