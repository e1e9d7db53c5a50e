"""What chance allows: intervals that the counts of a simulation are held against."""

import math
from collections.abc import Sequence

# A shop in order hears a false alarm about every 465 batches (H5).
RUN_LENGTH = 465
# Twice the standard uncertainty either way holds this part of a normal truth.
TWO_SIGMA = math.erf(math.sqrt(2.0))


def share_interval(count: int, of: int, z: float = 1.96) -> tuple[float, float]:
    """Wilson's interval of a share."""
    share = count / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    reach = z / (1 + z * z / of) * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return middle - reach, middle + reach


def binomial_tail(count: int, of: int, share: float) -> float:
    """How likely so few or fewer are."""
    return sum(math.comb(of, k) * share**k * (1 - share) ** (of - k) for k in range(count + 1))


def count_interval(expected: float) -> tuple[int, int]:
    """The 95 % interval of a count that chance alone makes (Poisson)."""
    low, high, below = 0, 0, 0.0
    term = math.exp(-expected)
    k = 0
    while below + term < 0.975:
        below += term
        low = k + 1 if below < 0.025 else low
        k += 1
        term *= expected / k
    high = k
    return low, high


def delays(found: Sequence[int | None], most: int) -> tuple[str, str, str, str]:
    """Batches until a theft is found: mean, median, 95th of a hundred, how many never."""
    in_order = sorted(most + 1 if n is None else n for n in found)
    at = [in_order[math.ceil(part * len(in_order)) - 1] for part in (0.5, 0.95)]
    half, nearly_all = (f"over {most}" if n > most else str(n) for n in at)
    never = sum(n is None for n in found)
    mean = "–" if never else f"{sum(in_order) / len(in_order):.1f}"
    return mean, half, nearly_all, f"{never} of {len(found)}"
