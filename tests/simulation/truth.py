"""What is true of clients' metal, drawn by code that knows nothing of the reckoning.

Every deviation is a shape of mean 0 and variance 1, times what the world has of it. What a shop
reads, weighs and assays is drawn from the truth; the truth itself stays here. Grams and ‰ are
binary floats: this is the world, not the books.
"""

import math
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

Shape = Callable[[random.Random], float]


def normal(rng: random.Random) -> float:
    return rng.gauss(0.0, 1.0)


def rectangular(rng: random.Random) -> float:
    """Anything between two ends, alike."""
    return rng.uniform(-math.sqrt(3.0), math.sqrt(3.0))


def skewed(rng: random.Random) -> float:
    """Most a little above, few far below: a mark is rarely beaten and sometimes a lie."""
    return 1.0 - rng.expovariate(1.0)


SHAPES: Mapping[str, Shape] = {"normal": normal, "skewed": skewed, "rectangular": rectangular}
MARKS_PPT = {"9": 375.0, "14": 585.0, "18": 750.0, "22": 916.0}
SILVER_OF_THE_REST = (0.1, 0.5)


@dataclass(frozen=True)
class Kind:
    """What a kind of evidence is truly worth, ‰: how far the truth lies from what is read."""

    name: str
    bias: float
    scatter: float
    shared: float
    filled_part: str | None = None
    by_instrument: bool = False


@dataclass(frozen=True)
class World:
    """All that is true of one market: its evidence, its recoveries, its scales, its habits."""

    kinds: tuple[Kind, ...]
    gold_recovery: tuple[float, float] = (0.990, 0.002)
    silver_recovery: tuple[float, float] = (0.970, 0.008)
    # Further ‰ that a mark lies by, by what is stamped.
    lying_marks: Mapping[str, float] = field(default_factory=dict)
    shape: str = "normal"
    division: float = 0.01
    scale_error: float = 0.0
    stone_part: float = 0.3
    assay_u: float = 0.3


@dataclass(frozen=True)
class Article:
    """One line as the shop enters it (JSON-shaped), and what it truly is."""

    entered: dict[str, Any]
    alloy_g: float
    net_g: float
    gold_g: float
    silver_g: float


@dataclass(frozen=True)
class Lot:
    """What one client brings."""

    articles: tuple[Article, ...]

    @property
    def entered(self) -> list[dict[str, Any]]:
        return [a.entered for a in self.articles]

    @property
    def melt_g(self) -> float:
        return sum(a.net_g for a in self.articles)

    def fine_g(self, metal: str) -> float:
        return sum(a.gold_g if metal == "gold" else a.silver_g for a in self.articles)


def read(value: float, division: float) -> str:
    """A reading: the nearest division of the scale."""
    places = max(0, round(-math.log10(division)))
    return f"{round(value / division) * division:.{places}f}"


def weight(amount: str) -> dict[str, str]:
    return {"amount": amount, "unit": "g"}


class Market:
    """Draws clients' lots. What the articles of a kind have in common is drawn anew by `new_shop`."""

    def __init__(self, world: World, rng: random.Random) -> None:
        self.world, self.rng = world, rng
        self.draw = SHAPES[world.shape]
        self.common: dict[str, float] = {}
        self.new_shop()

    def new_shop(self) -> None:
        self.common = {kind.name: kind.shared * self.draw(self.rng) for kind in self.world.kinds}

    def lot(self, most_lines: int = 4, kinds: tuple[Kind, ...] | None = None) -> Lot:
        lines = self.rng.randint(1, most_lines)
        return Lot(tuple(self._article(self.rng.choice(kinds or self.world.kinds)) for _ in range(lines)))

    def _article(self, kind: Kind) -> Article:
        rng = self.rng
        karat = rng.choice(list(MARKS_PPT))
        known = MARKS_PPT[karat]
        count = rng.choice((1, 1, 1, 2, 3))
        # What is read of several articles is said of all: each lies off by itself.
        off = sum(self.draw(rng) for _ in range(count)) / count
        lie = self.world.lying_marks.get(karat, 0.0)
        true_ppt = known + kind.bias + lie + self.common[kind.name] + kind.scatter * off
        true_ppt = min(max(true_ppt, 0.0), 999.0)
        if kind.by_instrument:
            # What it shows lies off, not the metal: the reading is the truth less the deviation.
            known = round(known + rng.uniform(-20.0, 20.0), 1)
            true_ppt = min(max(known + true_ppt - MARKS_PPT[karat], 0.0), 999.0)
        net = math.exp(rng.gauss(2.3, 0.6)) * count
        return self._weighed(kind, karat, known, count, net, true_ppt)

    def _weighed(
        self, kind: Kind, karat: str, known: float, count: int, net: float, true_ppt: float
    ) -> Article:
        rng, d = self.rng, self.world.division
        deductions: list[dict[str, Any]] = []
        gross = net
        if rng.random() < self.world.stone_part:
            guess = max(0.05, round(net * rng.uniform(0.02, 0.06), 2))
            plus_minus = max(0.01, round(guess * rng.uniform(0.2, 0.5), 2))
            # A guess ± a is taken as rectangular: of the same variance here, whatever the shape.
            gross += max(0.0, guess + plus_minus / math.sqrt(3.0) * self.draw(rng))
            deductions.append(
                {"reason": rng.choice(("stones, guessed", "filling, guessed")),
                 "weight": weight(f"{guess:.2f}"), "plus_minus": weight(f"{plus_minus:.2f}")}
            )  # fmt: skip
        entered: dict[str, Any] = {
            "description": f"{count} of {karat} karat",
            "evidence": kind.name,
            "count": count,
            "colour": "yellow",
            "gross": weight(read(gross + self.world.scale_error, d)),
            **({"fineness": f"{known:.1f}"} if kind.by_instrument else {"karat": karat}),
            **({} if kind.by_instrument else {"stamped": f"{karat}K"}),
            **({"deductions": deductions} if deductions else {}),
            **({"filled_part": kind.filled_part} if kind.filled_part else {}),
        }
        part = eval_part(kind.filled_part)
        silver_ppt = (1000.0 - true_ppt) * rng.uniform(*SILVER_OF_THE_REST)
        alloy = net * part
        return Article(entered, alloy, net, alloy * true_ppt / 1000.0, alloy * silver_ppt / 1000.0)


def eval_part(text: str | None) -> float:
    if text is None:
        return 1.0
    over, _, under = text.partition("/")
    return int(over) / int(under or "1")


@dataclass(frozen=True)
class Assayed:
    """What a shop finds of a melted lot: melt weight and ‰ by metal, as it reads and prints them."""

    melt: str
    ppt: Mapping[str, str]


def assay(world: World, rng: random.Random, lot: Lot) -> Assayed:
    """Melting loses a little dirt, no fine metal; the assay is as sure as its u says."""
    melt = lot.melt_g * (1.0 - abs(rng.gauss(0.0, 0.001)))
    ppt = {
        metal: f"{max(0.0, lot.fine_g(metal) / melt * 1000.0 + rng.gauss(0.0, world.assay_u)):.1f}"
        for metal in ("gold", "silver")
    }
    return Assayed(read(melt, world.division), ppt)


def recovered(rng: random.Random, recovery: tuple[float, float]) -> float:
    """The part that comes back of one batch."""
    return min(rng.gauss(*recovery), 1.0)
