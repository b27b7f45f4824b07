"""Priority rules, and the profile that they place steps with."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.check import check
from scheduler.dispatch import RULES, NoDispatchError, Profile, dispatch
from tests.scheduler.documents import EPOCH, one_of_each, problem_of
from tests.scheduler.facility import facility

stays = st.lists(st.tuples(st.integers(0, 30), st.integers(1, 10), st.integers(1, 3)), max_size=15)


@given(stays, st.integers(0, 30), st.integers(1, 10), st.integers(1, 3))
def test_profile_agrees_with_counting_minutes(
    taken: list[tuple[int, int, int]], start: int, length: int, load: int
) -> None:
    profile, minutes = Profile(5), [0] * 60
    for at, lasts, amount in taken:
        profile.add(at, at + lasts, amount)
        for minute in range(at, at + lasts):
            minutes[minute] += amount
    obstacles = [m for m in range(start, start + length) if minutes[m] + load > 5]
    free = profile.free_from(start, start + length, load)
    assert (free == start) == (not obstacles)
    if obstacles:
        assert free > obstacles[-1]
        assert all(minutes[m] == minutes[obstacles[-1]] for m in range(obstacles[-1], free))


def work(name: str, **changes: Any) -> dict[str, Any]:
    step = {"id": "work", "kind": "bench", "stations": ["bench"], "min_min": 10}
    return {"id": name, "steps": [step]} | changes


def order_of(rule: str, items: list[dict[str, Any]]) -> list[str]:
    document = {
        "epoch": EPOCH,
        "horizon_min": 1000,
        "stations": [{"kind": "bench", "id": "bench", "shifts": [[0, 1000, 1]]}],
        "items": items,
    }
    plan = dispatch(problem_of(document), rule)
    return [p.item for p in sorted(plan.placements, key=lambda p: p.start)]


def test_each_rule_puts_first_what_it_says() -> None:
    items = [
        work("late", due_min=900, weight=1),
        work("dear", due_min=800, weight=50),
        work("soon", due_min=30, weight=1),
    ]
    assert order_of("arrival", items) == ["late", "dear", "soon"]
    assert order_of("deadline", items) == ["soon", "dear", "late"]
    assert order_of("ratio", items)[0] == "dear"
    assert order_of("urgency", items)[-1] == "late"


@pytest.mark.parametrize("rule", RULES)
def test_every_rule_plans_the_facility(rule: str) -> None:
    problem = facility(60, seed=2)
    plan = dispatch(problem, rule)
    assert check(problem, plan).passed
    assert plan.verified is not None


def test_pieces_share_runs_where_they_may() -> None:
    document = one_of_each()
    document["items"][1]["release_min"] = 0
    plan = dispatch(problem_of(document))
    assert [r.items for r in plan.runs] == [("A", "B")]
    plan = dispatch(problem_of(document | {"apart": [["a", "b"]]}))
    assert sorted(r.items for r in plan.runs) == [("A",), ("B",)]


def test_a_stay_is_stretched_to_keep_a_longest_lag() -> None:
    document = one_of_each()
    for item in document["items"]:
        item["steps"] = [dict(s) for s in item["steps"]]
        item["steps"][1]["lag_max"] = 0
    document["stations"][1]["windows"] = [[80, 1500]]
    problem = problem_of(document)
    plan = dispatch(problem)
    hold = next(p for p in plan.placements if (p.item, p.step) == ("A", "hold"))
    assert (hold.start, hold.end) == (0, 80)


def test_a_step_is_moved_later_where_stretching_is_not_enough() -> None:
    document = one_of_each()
    for item in document["items"]:
        item["steps"] = [dict(s) for s in item["steps"]]
        item["steps"][1]["lag_max"] = 0
    document["stations"][1]["windows"] = [[180, 1500]]
    plan = dispatch(problem_of(document))
    hold = next(p for p in plan.placements if (p.item, p.step) == ("A", "hold"))
    assert hold.end == 180
    assert hold.end - hold.start <= 100


def test_no_room_before_the_horizon_is_said() -> None:
    document = one_of_each(horizon_min=240, apart=[["a", "b"]])
    with pytest.raises(NoDispatchError, match="no place for step 'run'"):
        dispatch(problem_of(document))
