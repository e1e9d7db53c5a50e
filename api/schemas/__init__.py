"""JSON to plain JSON-shaped data and back: the shape is checked here, the meaning by `settle.reckoning`."""
