"""The machine: any use case that is ready, or any at all out of order, while time goes on."""

from random import Random

# Each enters its use cases.
import at_the_bench
import at_the_counter
import at_the_mould
import at_the_till
import in_the_works
import of_the_house
from driven import STEPS, USE_CASES, Shop, chosen, one_in, whole
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, rule

ROOMS = (at_the_counter, at_the_bench, in_the_works, at_the_mould, at_the_till, of_the_house)
# What was not done in this run yet is so many times as likely.
NEW = 3
MINUTES = (1, 10, 60, 600)
# Of what a step draws: the figures of a step are many, and none of them is simpler than another.
SEEDS = st.integers(0, 2**32 - 1)


class Machine(RuleBasedStateMachine):
    """A shop, from its opening; broken where the books and the papers differ."""

    def __init__(self) -> None:
        super().__init__()
        self.shop = Shop()
        STEPS["runs"] += 1

    @rule(seed=SEEDS)
    def goes_on(self, seed: int) -> None:
        """Something that the state allows; lots, batches and settlements go on more often than the rest."""
        self._goes_on(self._drawn(seed))

    @rule(seed=SEEDS)
    def goes_on_and_on(self, seed: int) -> None:
        data = self._drawn(seed)
        for _ in range(whole(data, 6, 12)):
            self._goes_on(data)

    @rule(seed=SEEDS)
    def out_of_order(self, seed: int) -> None:
        """Anything, of any subject."""
        data = self._drawn(seed)
        for _ in range(whole(data, 2, 5)):
            possible = [(of, every) for of in USE_CASES.values() if (every := of.every(self.shop))]
            of, subjects = chosen(data, possible)
            of.act(self.shop, data, chosen(data, list(subjects)))

    def _drawn(self, seed: int) -> Random:
        return Random(f"{seed} at {self.shop.calls}")

    def _goes_on(self, data: Random) -> None:
        possible = [(of, ready) for of in USE_CASES.values() if (ready := of.ready(self.shop))]
        weights = [of.weight * (1 if of.name in self.shop.done else NEW) for of, _ in possible]
        (found,) = data.choices(possible, weights)
        found[0].act(self.shop, data, chosen(data, list(found[1])))

    @rule(seed=SEEDS)
    def time_passes(self, seed: int) -> None:
        """Minutes, mostly; now and then days, or a month and more; once in a while the clock is set back."""
        data = self._drawn(seed)
        self.shop.remember()
        if one_in(data, 12):
            self.shop.clock.move(days=whole(data, 20, 70))
        elif one_in(data, 20):
            self.shop.set_back(whole(data, 1, 40))
        elif one_in(data, 3):
            self.shop.clock.move(days=whole(data, 1, 4))
        else:
            self.shop.clock.move(minutes=chosen(data, MINUTES))

    def teardown(self) -> None:
        shop = self.shop
        try:
            if not shop.differs:
                wrong = [*shop.checked(), *shop.states()]
                wrong += [fault for at, then in shop.past for fault in shop.as_it_was(at, then)]
                if wrong:
                    shop.fail("at the end", *wrong[:20])
        finally:
            shop.close()
