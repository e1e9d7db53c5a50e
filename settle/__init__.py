"""settle: the quotation and settlement engine of a small precious-metals refiner."""

__version__ = "0.1.0"
