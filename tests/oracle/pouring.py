"""E5: every plan there is, and the best of them. For few moulds and few bars."""

from collections.abc import Iterator
from fractions import Fraction

from .quantities import shown


def pour_plan(weight_g: str, moulds_g: list[str], over_pour_g: str, wish: str) -> dict:
    """`wish` least_left or fewest_bars; the plan names each mould as it was given."""
    weight, over = Fraction(weight_g), Fraction(over_pour_g)
    moulds = sorted(moulds_g, key=Fraction, reverse=True)
    sizes = [Fraction(m) for m in moulds]
    plans = list(fitting(weight, [s + over for s in sizes]))
    if wish == "fewest_bars":
        smallest = min(s + over for s in sizes)
        plans = [p for p in plans if poured(p, sizes, over) + smallest > weight]

    def rank(plan: tuple[int, ...]) -> tuple:
        left, bars = weight - poured(plan, sizes, Fraction(0)), sum(plan)
        first = (left, bars) if wish == "least_left" else (bars, left)
        return (*first, [-n for n in plan])

    best = min(plans, key=rank)
    left = weight - poured(best, sizes, Fraction(0))
    plan = {m: n for m, n in zip(moulds, best, strict=True) if n}
    return {"plan": plan, "remainder_g": shown(left, 7)}


def fitting(weight: Fraction, needs: list[Fraction]) -> Iterator[tuple[int, ...]]:
    """Every count of bars per mould whose metal is there."""
    if not needs:
        yield ()
        return
    for count in range(weight // needs[0] + 1):
        for rest in fitting(weight - count * needs[0], needs[1:]):
            yield (count, *rest)


def poured(plan: tuple[int, ...], sizes: list[Fraction], over: Fraction) -> Fraction:
    return sum((n * (s + over) for n, s in zip(plan, sizes, strict=True)), Fraction(0))
