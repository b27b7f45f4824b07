"""Relief: what is reported is a checked plan, gains what it says, and stays within the rules."""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.check import check
from scheduler.dispatch import dispatch
from scheduler.instance import Instance
from scheduler.plan import Plan
from scheduler.problem import Bench, Problem
from scheduler.relief import relief, schedule_of
from scheduler.schedule import cost_of
from tests.scheduler.documents import EPOCH, problem_of
from tests.scheduler.facility import facility

DAY = 1440


def work(minutes: int) -> dict[str, Any]:
    return {"id": "soot", "kind": "bench", "stations": ["bench"], "min_min": minutes}


def document(items: list[dict[str, Any]], **changed: Any) -> Problem:
    whole: dict[str, Any] = {
        "epoch": EPOCH,
        "horizon_min": 5 * DAY,
        "stations": [
            {
                "kind": "bench",
                "id": "bench",
                "label": "Soot bench",
                "shifts": [[d * DAY + 480, d * DAY + 960, 1] for d in (0, 1, 4)],
            },
            {"kind": "chamber", "id": "big", "usable_l": 10, "programmes": ["p"]},
        ],
        "programmes": [{"id": "p", "needs_licence": True}],
        "items": items,
    }
    return problem_of(whole | changed)


def end_of(problem: Problem, plan: Plan, item: str) -> int:
    last = next(i for i in problem.items if i.id == item).steps[-1].id
    return next(p.end for p in plan.placements if (p.item, p.step) == (item, last))


def test_an_evening_shift_that_ends_a_late_piece_in_time() -> None:
    problem = document(
        [
            {"id": "A", "weight": 5, "due_min": 960, "steps": [work(400)]},
            {"id": "B", "due_min": 1200, "steps": [work(200)]},
        ]
    )
    plan = dispatch(problem, "deadline")
    found = relief(problem, plan, "B", seconds=20)
    assert str(found[0]) == (
        "an extra shift at Soot bench from 2031-03-03 16:00 UTC to 2031-03-03 20:00 UTC with "
        "1 person: it ends 16 h sooner, 2031-03-03 19:20 UTC; "
        "the whole plan is charged 920 less."
    )
    assert found[0].in_time


def test_a_day_off_worked_where_the_bench_is_closed_for_days() -> None:
    problem = document(
        [{"id": "B", "release_min": DAY + 970, "due_min": 3 * DAY, "steps": [work(480)]}]
    )
    plan = dispatch(problem, "deadline")
    found = relief(problem, plan, "B", seconds=20)
    assert [r.what for r in found] == [
        "an extra shift at Soot bench from 2031-03-05 08:00 UTC to 2031-03-05 16:00 UTC with "
        "1 person"
    ]
    assert found[0].gained_min == 2 * DAY


def test_a_visit_of_the_licensed_person() -> None:
    run = {"id": "run", "kind": "batch", "stations": ["big"], "programme": "p", "min_min": 50}
    problem = document([{"id": "A", "due_min": 60, "steps": [run]}], licence_windows=[[900, 960]])
    plan = dispatch(problem, "deadline")
    found = relief(problem, plan, "A", seconds=20)
    assert [str(r) for r in found] == [
        "an extra visit of the licensed person at 2031-03-03 00:00 UTC: it ends 15 h sooner, "
        "2031-03-03 00:50 UTC; the whole plan is charged 890 less."
    ]


def test_a_visit_to_clear_a_run() -> None:
    run = {"id": "run", "kind": "batch", "stations": ["big"], "programme": "p", "min_min": 50}
    cleared = [{"id": "p", "needs_licence": True, "licence_at_end": True}]
    piece = {"id": "A", "due_min": 60, "steps": [run | {"max_min": 1000}]}
    problem = document([piece], programmes=cleared, licence_windows=[[0, 20], [900, 960]])
    plan = dispatch(problem, "deadline")
    assert end_of(problem, plan, "A") == 900
    found = relief(problem, plan, "A", seconds=20)
    assert [(r.what, r.gained_min) for r in found] == [
        ("an extra visit of the licensed person at 2031-03-03 00:50 UTC", 850)
    ]


def test_visits_to_start_a_run_and_to_clear_it() -> None:
    run = {"id": "run", "kind": "batch", "stations": ["big"], "programme": "p", "min_min": 90}
    problem = document(
        [{"id": "A", "due_min": 60, "steps": [run]}],
        programmes=[{"id": "p", "needs_licence": True, "licence_at_end": True}],
        licence_windows=[[900, 1000]],
    )
    found = relief(problem, dispatch(problem, "deadline"), "A", seconds=20)
    assert [r.what for r in found] == [
        "extra visits of the licensed person at 2031-03-03 00:00 UTC and at 2031-03-03 01:30 UTC"
    ]


def test_another_piece_later_needs_nothing_added() -> None:
    problem = document(
        [
            {"id": "A", "label": "Frame", "steps": [work(300)]},
            {"id": "B", "release_min": 1, "due_min": 700, "steps": [work(180)]},
        ]
    )
    plan = dispatch(problem, "arrival")
    found = relief(problem, plan, "B", seconds=20)
    assert [r.what for r in found] == ["Frame later"]
    assert found[0].gained_min == 300
    # The same problem: nothing was added to it.
    assert found[0].problem == problem


def test_a_piece_that_never_waits_has_no_relief() -> None:
    problem = document([{"id": "A", "release_min": 500, "due_min": 510, "steps": [work(60)]}])
    assert relief(problem, dispatch(problem, "arrival"), "A", seconds=20) == ()


def test_a_plan_of_another_problem_is_refused() -> None:
    items = [{"id": "A", "steps": [work(60)]}]
    plan = dispatch(document(items), "arrival")
    with pytest.raises(ValueError, match="another problem document"):
        relief(document(items, horizon_min=4000), plan, "A")


@settings(
    deadline=None,
    max_examples=8,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(st.integers(3, 24), st.integers(0, 1_000))
def test_every_relief_is_real_and_adds_only_work_and_visits(count: int, seed: int) -> None:
    problem = facility(count, seed)
    plan = dispatch(problem, "arrival")
    instance = Instance.of(problem)
    # What the warm start reads back is the plan.
    assert cost_of(instance, schedule_of(instance, plan)) == plan.objective
    item = max(problem.items, key=lambda i: end_of(problem, plan, i.id) - (i.due_min or 0)).id
    for one in relief(problem, plan, item, seconds=60, max_rounds=2):
        report = check(one.problem, one.plan)
        assert report.passed
        assert one.gained_min > 0
        assert end_of(problem, plan, item) - end_of(one.problem, one.plan, item) == one.gained_min
        assert report.objective - plan.objective == one.objective_change
        assert one.problem.items == problem.items
        for old, new in zip(problem.stations, one.problem.stations, strict=True):
            if isinstance(old, Bench) and isinstance(new, Bench):
                assert set(old.shifts) <= set(new.shifts)
                assert old.model_copy(update={"shifts": new.shifts}) == new
            else:
                assert old == new
        # The changed document is consistent as a whole.
        assert Problem.model_validate(one.problem.model_dump()) == one.problem
