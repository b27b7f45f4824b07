"""Local search over the order of dispatch: cheap, and strong where rooms and benches are short.

Items that cost most are moved ahead (or back) in the order and everything is dispatched again; a
change is kept if it costs no more. Every schedule found is feasible by construction.
"""

import random
from collections.abc import Iterator

from scheduler.dispatch import BATCHINGS, Dispatched, NoDispatchError, schedule_in_order
from scheduler.instance import Instance
from scheduler.schedule import cost_of, item_costs

MEAN_MOVE = 20


def reorder(instance: Instance, start: Dispatched, seed: int) -> Iterator[Dispatched]:
    """An endless series of trials; each yields the best so far."""
    rng = random.Random(seed)
    best, cost = start, cost_of(instance, start.schedule)
    while True:
        order, batching = list(best.order), best.batching
        costs = item_costs(instance, best.schedule)
        place = {item: n for n, unit in enumerate(order) for item in unit}
        if instance.lots and rng.random() < 0.1:
            batching = rng.choice(BATCHINGS)
        for _ in range(rng.choice((1, 1, 2, 4))):
            if rng.random() < 0.7:
                item = rng.choices(range(len(costs)), costs)[0]
            else:
                item = rng.randrange(len(costs))
            distance = 1 + int(rng.expovariate(1 / MEAN_MOVE))
            ahead = rng.random() < 0.75
            position = min(place[item], len(order) - 1)
            unit = order.pop(position)
            order.insert(max(0, position - distance) if ahead else position + distance, unit)
        try:
            schedule = schedule_in_order(instance, order, batching)
        except NoDispatchError:
            schedule = best.schedule
        found = cost_of(instance, schedule)
        if found <= cost and schedule is not best.schedule:
            best, cost = Dispatched(schedule, tuple(order), batching, best.rule), found
        yield best
