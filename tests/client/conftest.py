"""The fixtures of this folder, and the house they stand on, live in `client_house`."""

from client_house import *  # noqa: F403 - fixtures are found by name
