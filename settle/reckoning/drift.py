"""A residual that leans one way for many batches: a two-sided tabular CUSUM, per metal (H5).

z = residual ÷ u. A sum grows by what z lies beyond k on its side, never below 0; above h it
is an alarm. With k = ½ and h = 5 a shop in order hears a false one about every 465 batches.
NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from settle.reckoning.exact import HALF, ZERO, Exact

ALLOWANCE = HALF
LIMIT = Exact(5)

MISSING, OVER = "missing", "over"


@dataclass(frozen=True, slots=True)
class Residual:
    """What a batch (or a silver recovery) left unexplained of one metal, and its u; grams (H4)."""

    batch: str
    residual_g: Exact
    u_g: Exact

    @property
    def z(self) -> Exact | None:
        """Exact; none where something is unexplained and nothing is known of how sure that is."""
        if self.u_g:
            return self.residual_g / self.u_g
        return None if self.residual_g else ZERO


@dataclass(frozen=True, slots=True)
class Sums:
    """The two sums after a batch, and the batch at which each last left 0."""

    missing: Exact = ZERO
    over: Exact = ZERO
    missing_from: str | None = None
    over_from: str | None = None

    def after(self, batch: str, z: Exact, allowance: Exact = ALLOWANCE) -> "Sums":
        """The sums one batch on: max(0, sum ± z − k)."""
        missing = max(ZERO, self.missing + z - allowance)
        over = max(ZERO, self.over - z - allowance)
        return Sums(
            missing,
            over,
            (self.missing_from or batch) if missing else None,
            (self.over_from or batch) if over else None,
        )


@dataclass(frozen=True, slots=True)
class Drift:
    """An alarm: at which batch, from which one it has leaned, which way, and how far the sum came."""

    way: str
    began_at: str
    alarm_at: str
    sum: Exact


@dataclass(frozen=True, slots=True)
class Chart:
    """The batches of one metal in their order: sums after each (before any restart), and alarms.

    `standing` is what the next batch starts from.
    """

    sums: tuple[Sums, ...]
    drifts: tuple[Drift, ...]
    standing: Sums


def chart(residuals: Iterable[Residual], allowance: Exact = ALLOWANCE, limit: Exact = LIMIT) -> Chart:
    """The chart of one metal. After an alarm both sums restart from 0 (H5)."""
    standing, sums, drifts = Sums(), list[Sums](), list[Drift]()
    for of in residuals:
        z = of.z
        after = standing if z is None else standing.after(of.batch, z, allowance)
        sums.append(after)
        found = _alarms(after, of.batch, limit)
        drifts += found
        standing = Sums() if found else after
    return Chart(tuple(sums), tuple(drifts), standing)


def _alarms(sums: Sums, batch: str, limit: Exact) -> Sequence[Drift]:
    found = []
    if sums.missing > limit:
        found.append(Drift(MISSING, sums.missing_from or batch, batch, sums.missing))
    if sums.over > limit:
        found.append(Drift(OVER, sums.over_from or batch, batch, sums.over))
    return found


def in_words(metal: str, drift: Drift) -> str:
    """The alarm as a sentence, and where to look (H5)."""
    leans = "has been missing" if drift.way == MISSING else "has come back above what was expected"
    return (
        f"{metal.capitalize()} {leans} since batch {drift.began_at} (noticed at {drift.alarm_at}): a drift. "
        "Look at the scale, the assay, the hands and the recovery of the terms."
    )
