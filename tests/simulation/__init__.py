"""A simulated shop: truth that the reckoning never sees, and what a shop would enter of it."""
