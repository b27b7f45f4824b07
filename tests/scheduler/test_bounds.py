"""Bounds by hand, and that no plan undercuts them."""

from typing import Any

from scheduler.bounds import finish_bound, lower_bound, running_bound
from scheduler.congestion import relaxed
from scheduler.dispatch import Batching, order_by, schedule_in_order
from scheduler.instance import Instance
from scheduler.schedule import cost_of
from tests.scheduler.documents import EPOCH, problem_of
from tests.scheduler.facility import facility


def chamber_items(sizes: list[tuple[int, int]]) -> Instance:
    """Pieces of (litres, minutes) for one chamber of 10 L."""
    step = {"id": "run", "kind": "batch", "stations": ["c"], "programme": "p"}
    document = {
        "epoch": EPOCH,
        "horizon_min": 10_000,
        "stations": [{"kind": "chamber", "id": "c", "usable_l": 10, "programmes": ["p"]}],
        "programmes": [{"id": "p"}],
        "items": [
            {"id": f"i{n}", "volume_l": litres, "steps": [step | {"min_min": minutes}]}
            for n, (litres, minutes) in enumerate(sizes)
        ],
    }
    return Instance.of(problem_of(document))


def test_runs_poured_full_in_order_of_length() -> None:
    # 6 + 6 + 6 L fill 1.8 chambers: the longest leads the first, the second longest, which no
    # longer fits whole, opens the second.
    assert running_bound(chamber_items([(6, 30), (6, 50), (6, 40)])) == 50 + 40
    assert running_bound(chamber_items([(0, 30), (0, 50), (1, 40)])) == 50
    assert running_bound(chamber_items([(10, 30), (10, 30), (1, 20)])) == 30 + 30 + 20


def bench_items(items: list[dict[str, Any]]) -> Instance:
    document = {
        "epoch": EPOCH,
        "horizon_min": 100_000,
        "stations": [{"kind": "bench", "id": "b", "shifts": [[0, 100_000, 1]]}],
        "items": [
            {
                "id": f"i{n}",
                "steps": [{"id": "w", "kind": "bench", "stations": ["b"], "min_min": 100}],
            }
            | item
            for n, item in enumerate(items)
        ],
    }
    return Instance.of(problem_of(document))


def test_finish_is_at_least_head_and_work() -> None:
    assert finish_bound(bench_items([{"release_min": 50}, {"release_min": 20}, {}])) == 300
    assert finish_bound(bench_items([{"release_min": 250}, {"release_min": 220}, {}])) == 420


def test_no_plan_undercuts_the_bound() -> None:
    for seed in range(3):
        instance = Instance.of(facility(40, seed=seed))
        for rule in ("deadline", "ratio in time"):
            schedule = schedule_in_order(instance, order_by(instance, rule), Batching())
            assert (
                0
                < lower_bound(instance, relaxed(instance, schedule))
                <= cost_of(instance, schedule)
            )
