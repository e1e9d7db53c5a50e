"""A second reckoning of the rules in arithmetic.md, written apart from the product.

Plain dictionaries as they stand in a request go in; nothing of the product is imported.
"""

from .assays import agreed_assay, agreed_u2, fees, stated_fineness, stated_weight
from .pouring import pour_plan
from .quoting import all_in, estimate, exact_estimate
from .refining import batch, exact_batch, residual, residual_u
from .settlement import exact_settlement, settle
from .statement import in_coins, waived

__all__ = [
    "agreed_assay",
    "agreed_u2",
    "all_in",
    "batch",
    "estimate",
    "exact_batch",
    "exact_estimate",
    "exact_settlement",
    "fees",
    "in_coins",
    "pour_plan",
    "residual",
    "residual_u",
    "settle",
    "stated_fineness",
    "stated_weight",
    "waived",
]
