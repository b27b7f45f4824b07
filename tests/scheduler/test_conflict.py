"""Conflicts: the exact words on small problems; on random ones, really infeasible and minimal."""

import time
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.conflict import (
    Conflict,
    can_be_planned,
    facts_of,
    find_conflict,
    item_facts,
    without,
)
from scheduler.problem import Problem, Weights
from tests.scheduler.brute_force import optimum
from tests.scheduler.documents import EPOCH, one_of_each, problem_of
from tests.scheduler.test_solve import tiny_documents, valid

WORK = {"id": "soot", "kind": "bench", "stations": ["bench"], "min_min": 60}


def problem_with(items: list[dict[str, Any]], **changed: Any) -> Problem:
    document: dict[str, Any] = {
        "epoch": EPOCH,
        "horizon_min": 600,
        "stations": [
            {"kind": "bench", "id": "bench", "label": "Soot bench", "shifts": [[0, 600, 1]]},
            {
                "kind": "chamber",
                "id": "big",
                "label": "Large chamber",
                "usable_l": 10,
                "programmes": ["p"],
            },
        ],
        "programmes": [{"id": "p", "needs_licence": True}],
        "items": items,
    }
    return problem_of(document | changed)


def found(problem: Problem) -> Conflict:
    conflict = find_conflict(problem, seconds=20)
    assert conflict is not None
    assert conflict.minimal
    return conflict


def run(**changed: Any) -> dict[str, Any]:
    step = {"id": "run", "kind": "batch", "stations": ["big"], "programme": "p", "min_min": 100}
    return step | changed


def test_a_problem_with_a_plan_has_no_conflict() -> None:
    assert find_conflict(problem_of(one_of_each()), seconds=20) is None


def test_a_lag_that_a_closed_bench_breaks() -> None:
    steps = [{"id": "thaw", "kind": "wait", "min_min": 30}, WORK | {"lag_max": 10}]
    shut = {"kind": "bench", "id": "bench", "label": "Soot bench", "shifts": [[0, 80, 1]]}
    problem = problem_with([{"id": "A", "label": "Portrait", "steps": steps}], stations=[shut])
    # The work ends at 90 at the earliest and the bench closes at 80: the lag is not to blame.
    assert str(found(problem)) == (
        "For Portrait, these cannot all hold: all work ends by 2031-03-03 10:00 UTC; "
        "Soot bench is closed from 2031-03-03 01:20 UTC on. Give up one of them."
    )


def test_a_licence_that_comes_too_late_for_a_lag() -> None:
    steps = [WORK, run(lag_max=30)]
    problem = problem_with([{"id": "A", "steps": steps}], licence_windows=[[0, 50], [700, 800]])
    assert str(found(problem)) == (
        "For A, these cannot all hold: all work ends by 2031-03-03 10:00 UTC; "
        "no licensed person is there from 2031-03-03 00:50 UTC on. Give up one of them."
    )


def test_nobody_licensed_to_clear_a_run_in_time() -> None:
    cleared = [{"id": "p", "needs_licence": True, "licence_at_end": True}]
    steps = [run(max_min=900)]
    problem = problem_with(
        [{"id": "A", "steps": steps}], programmes=cleared, licence_windows=[[0, 50], [700, 800]]
    )
    assert str(found(problem)) == (
        "For A, these cannot all hold: all work ends by 2031-03-03 10:00 UTC; "
        "no licensed person is there from 2031-03-03 00:50 UTC on. Give up one of them."
    )


def test_a_run_may_be_cleared_at_the_horizon_if_somebody_is_there() -> None:
    cleared = [{"id": "p", "licence_at_end": True}]
    items = [{"id": "A", "steps": [run(min_min=600)]}]
    assert find_conflict(problem_with(items, programmes=cleared, licence_windows=[[600, 601]])) is (
        None
    )
    # The last minute of this one is the one before the horizon.
    told = found(problem_with(items, programmes=cleared, licence_windows=[[0, 600], [650, 700]]))
    assert {f.kind for f in told.facts} == {"item", "horizon", "licence"}


def test_a_fixed_placement_that_breaks_a_lag() -> None:
    steps = [WORK, run(lag_max=30)]
    fixed = [
        {
            "item": "A",
            "step": "soot",
            "station": "bench",
            "start": -60,
            "end": -40,
            "state": "in_progress",
        }
    ]
    problem = problem_with([{"id": "A", "steps": steps}], fixed=fixed)
    assert str(found(problem)) == (
        "For A, these cannot all hold: run of A follows soot within 30 min; "
        "soot of A is under way at Soot bench from 2031-03-02 23:00 UTC to "
        "2031-03-02 23:20 UTC. Give up one of them."
    )


def test_a_group_that_must_share_a_run_but_is_not_ready_at_the_same_time() -> None:
    items = [
        {"id": "A", "steps": [WORK, run(lag_max=0)]},
        {"id": "B", "steps": [WORK, run(lag_max=0)]},
    ]
    conflict = found(problem_with(items, together=[["A", "B"]]))
    assert str(conflict) == (
        "These cannot all hold: run of A follows soot within 0 min; "
        "run of B follows soot within 0 min; A and B travel together; "
        "A and B are both treated. Give up one of them."
    )
    assert {f.kind for f in conflict.facts} == {"lag", "together", "item"}


def test_more_work_than_the_time_holds_names_as_few_items_as_suffice() -> None:
    problem = problem_with(
        [{"id": name, "steps": [WORK]} for name in "ABCDE"],
        horizon_min=200,
        stations=[{"kind": "bench", "id": "bench", "shifts": [[0, 900, 1]]}],
    )
    conflict = found(problem)
    assert len([f for f in conflict.facts if f.kind == "item"]) == 4
    assert "all work ends by 2031-03-03 03:20 UTC" in str(conflict)


def test_closed_spells_of_one_station_are_told_as_one() -> None:
    chamber = {
        "kind": "chamber",
        "id": "big",
        "label": "Large chamber",
        "usable_l": 10,
        "programmes": ["p"],
        "windows": [[0, 100], [120, 160], [180, 220]],
    }
    items = [{"id": "A", "release_min": 50, "steps": [run()]}]
    problem = problem_with(items, stations=[chamber], horizon_min=220)
    # Opening either spell would do: 50 to 150, or 120 to 220.
    assert str(found(problem)) == (
        "For A, these cannot all hold: all work ends by 2031-03-03 03:40 UTC; "
        "Large chamber is closed from 2031-03-03 01:40 UTC to 2031-03-03 02:00 UTC and "
        "from 2031-03-03 02:40 UTC to 2031-03-03 03:00 UTC. Give up one of them."
    )


def test_no_time_gives_no_answer() -> None:
    steps = [WORK, run(lag_max=0)]
    items = [{"id": name, "steps": steps} for name in "AB"]
    problem = problem_with(items, together=[["A", "B"]])
    assert find_conflict(problem, seconds=0) is None


@settings(
    deadline=None,
    max_examples=400,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
@given(tiny_documents(most_items=3, most_steps=5), st.integers(0, 3), st.booleans())
def test_a_conflict_is_infeasible_and_minimal(
    document: dict[str, Any], less: int, at_once: bool
) -> None:
    # With less time, and no time between steps, many of these have no plan.
    document["horizon_min"] -= less
    for piece in document["items"] if at_once else ():
        for step in piece["steps"][1:]:
            step |= {"lag_min": 0, "lag_max": 0}
    problem = valid(document).model_copy(update={"weights": Weights(lateness=0)})
    conflict = find_conflict(problem, seconds=30)
    if conflict is None:
        assert can_be_planned(problem, time.monotonic() + 30) is True
        return
    assert optimum(problem) is None
    assert conflict.minimal
    named = {(f.kind, f.about) for f in conflict.facts}
    everything = [*item_facts(problem), *facts_of(problem)]
    others = [f for f in everything if (f.kind, f.about) not in named]
    assert not can_be_planned(without(problem, others), time.monotonic() + 30)
    for fact in conflict.facts:
        assert can_be_planned(without(problem, [*others, fact]), time.monotonic() + 30)
    # Brute force agrees: the items named have no plan, and have one when any of them is left out.
    items = [f for f in conflict.facts if f.kind == "item"]
    idle = [f for f in item_facts(problem) if f not in items]
    assert optimum(without(problem, idle)) is None
    for item in items if len(items) > 1 else ():
        assert optimum(without(problem, [*idle, item])) is not None
