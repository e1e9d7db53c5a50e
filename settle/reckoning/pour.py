"""What was taken to pour, and where it is afterwards (E6)."""

from collections.abc import Sequence
from dataclasses import dataclass

from settle.reckoning.bars import Reading
from settle.reckoning.batch import Weighed
from settle.reckoning.exact import Exact, plain
from settle.reckoning.fineness import WHOLE_PPT
from settle.reckoning.problems import Fault
from settle.reckoning.weight import in_grams, milligrams


@dataclass(frozen=True, slots=True)
class PourAccount:
    """Fine metal taken to pour, and where it is; whole milligrams (E6)."""

    taken_mg: int
    bars_mg: int
    trimmings_mg: int
    allowed_g: Exact

    @property
    def loss_mg(self) -> int:
        """Taken less bars and trimmings: the house's. Below 0 more is there than was taken."""
        return self.taken_mg - self.bars_mg - self.trimmings_mg

    def fault(self, pointer: str = "") -> Fault | None:
        """A pour loss, or gain, beyond `pour_loss` of the terms."""
        loss_g = in_grams(self.loss_mg)
        if abs(loss_g) <= self.allowed_g:
            return None
        way = "missing" if self.loss_mg > 0 else "over"
        wrong = f"{plain(abs(loss_g), 3)} g of fine metal is {way} after the pour"
        right = f"at most {plain(self.allowed_g)} g: weigh shot, bars and trimmings again"
        return Fault("beyond-balance", pointer, wrong, right)


def pour_account(
    taken: Sequence[Weighed], bars: Sequence[Reading], trimmings: Sequence[Weighed], pour_loss: Exact
) -> PourAccount:
    """Taken = Σ readings × assayed fineness + trimmings + pour loss, each bar to A2 (E6)."""
    taken_mg = sum(w.fine_mg for w in taken)
    bars_mg = sum(milligrams(b.weight_g * b.assay_ppt / WHOLE_PPT) for b in bars)
    return PourAccount(taken_mg, bars_mg, sum(w.fine_mg for w in trimmings), in_grams(taken_mg) * pour_loss)
