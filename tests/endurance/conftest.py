"""The fixtures of this folder, and the shop they open, live in `endurance_house`."""

from endurance_house import four_servers, shop

__all__ = ["four_servers", "shop"]
