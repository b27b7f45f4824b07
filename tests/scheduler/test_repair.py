"""The last plan put back as far as it holds, and the rest placed around it."""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, reject, settings

from scheduler.check import check, stamp
from scheduler.dispatch import NoDispatchError, best_dispatch
from scheduler.instance import Instance
from scheduler.plan import Plan
from scheduler.problem import PreviousPlacement, Problem, Window
from scheduler.repair import repair
from scheduler.repair import repaired as repaired_plan
from scheduler.schedule import to_plan
from scheduler.solve import solve
from tests.benchmarks.facility import facility
from tests.benchmarks.replanning import SCENARIOS, busy_moment, moved_facts
from tests.scheduler.test_solve import tiny_documents, valid

FEW = settings(
    deadline=None,
    max_examples=80,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


def planned_before(problem: Problem, plan: Plan) -> Problem:
    """The same problem a moment later, with the plan as the last one."""
    last = tuple(
        PreviousPlacement(
            item=place.item,
            step=place.step,
            station=place.station,
            start=place.start,
            end=place.end,
            run=place.run,
        )
        for place in plan.placements
    )
    return problem.model_copy(update={"previous": last})


def repaired(problem: Problem) -> Plan:
    instance = Instance.of(problem)
    plan = to_plan(instance, repair(instance), bound=0, seed=0, seconds=0, method=())
    return stamp(problem, plan)


def dispatched(problem: Problem) -> Plan:
    instance = Instance.of(problem)
    found = best_dispatch(instance, 0.0)
    if found is None:
        reject()
    return to_plan(instance, found.schedule, bound=0, seed=0, seconds=0, method=())


@FEW
@given(tiny_documents(most_items=5, most_steps=9))
def test_where_nothing_happened_nothing_moves(document: dict[str, Any]) -> None:
    problem = valid(document | {"fixed": []})
    plan = dispatched(problem)
    again = repaired(planned_before(problem, plan))
    assert again.amounts.changes == 0
    assert {(p.item, p.step): (p.station, p.start) for p in again.placements} == {
        (p.item, p.step): (p.station, p.start) for p in plan.placements
    }


@FEW
@given(tiny_documents(most_items=5, most_steps=9))
def test_whatever_is_put_back_passes_the_verifier(document: dict[str, Any]) -> None:
    problem = valid(document | {"fixed": []})
    plan = dispatched(problem)
    late = tuple(
        item.model_copy(update={"release_min": item.release_min + n % 3})
        for n, item in enumerate(problem.items)
    )
    troubled = planned_before(problem, plan).model_copy(update={"items": late})
    try:
        again = repaired(troubled)
    except NoDispatchError:
        reject()
    assert check(troubled, again).passed


@pytest.fixture(scope="module")
def planned() -> tuple[Problem, Plan]:
    """Sixty pieces and their plan, before any trouble."""
    problem = facility(60, seed=4).problem
    return problem, solve(problem, seconds=5)


@pytest.mark.parametrize("name", SCENARIOS)
def test_after_trouble_fixed_work_stays_and_the_plan_holds(
    name: str, planned: tuple[Problem, Plan]
) -> None:
    problem, plan = planned
    troubled = SCENARIOS[name](problem, plan, busy_moment(plan))
    again = solve(troubled, seconds=2)
    assert check(troubled, again).passed
    assert not moved_facts(troubled, again)


def test_a_chamber_that_shuts_moves_its_runs_and_leaves_the_rest() -> None:
    problem = facility(40, seed=2).problem
    plan = solve(problem, seconds=5)
    last = planned_before(problem, plan)
    run = max(plan.runs, key=lambda one: one.start)
    stations = tuple(
        station.model_copy(update={"windows": (Window(run.end, problem.horizon_min),)})
        if station.id == run.station
        else station
        for station in last.stations
    )
    shut = last.model_copy(update={"stations": stations})
    again = repaired(shut)
    before = {(p.item, p.step): (p.station, p.start) for p in plan.placements}
    stayed = [p for p in again.placements if before[p.item, p.step] == (p.station, p.start)]
    untouched = {item.id for item in problem.items} - {
        item for one in plan.runs if one.station == run.station for item in one.items
    }
    assert {p.item for p in stayed} >= untouched


def test_a_repaired_plan_is_checked_and_claims_no_more_than_it_may() -> None:
    problem = facility(20, seed=3).problem
    plan = solve(problem, seconds=5, workers=1, max_rounds=1)
    again = planned_before(problem, plan)
    made = repaired_plan(again)
    assert made.verified is not None
    assert check(again, made).passed
    assert made.bound <= made.objective
    assert made.amounts.changes == 0
