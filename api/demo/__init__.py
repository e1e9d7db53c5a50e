"""The demo: an invented spring of a shop, driven over HTTP like any other client's calls."""
