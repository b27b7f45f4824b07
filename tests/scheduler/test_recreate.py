"""Ruin and recreate: what it finds keeps the rules, and what it takes back leaves no trace."""

from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, reject, settings

from scheduler import kernel
from scheduler import recreate_kernel as rk
from scheduler.check import stamp
from scheduler.dispatch import RULES, best_dispatch, dispatch
from scheduler.instance import Instance
from scheduler.problem import FixedPlacement, Problem
from scheduler.recreate import RESOURCES, Search, construct, recreate, work_of
from scheduler.schedule import Schedule, cost_of, to_plan
from scheduler.solve import solve
from tests.benchmarks import facility as losses
from tests.scheduler.documents import one_of_each, problem_of
from tests.scheduler.facility import facility
from tests.scheduler.test_solve import tiny_documents, valid

FEW = settings(
    deadline=None,
    max_examples=80,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
FOREVER = 1e9


def started(problem: Problem) -> tuple[Instance, Schedule]:
    instance = Instance.of(problem)
    found = best_dispatch(instance, 0.0)
    if found is None:
        reject()
    return instance, found.schedule


def searched(instance: Instance, schedule: Schedule, **how: Any) -> list[Schedule]:
    asked: dict[str, Any] = {"workers": 1, "seed": 1, "max_rounds": 2} | how
    return list(recreate(instance, schedule, lambda: FOREVER, **asked))


def searching(problem: Problem, seed: int = 1) -> tuple[Instance, Search]:
    instance, schedule = started(problem)
    work = work_of(instance)
    if not work.unit_order.size:
        reject()
    return instance, Search(instance, schedule, work, seed)


def verified(instance: Instance, schedule: Schedule) -> int:
    """The objective, once the verifier has passed the plan."""
    plan = to_plan(instance, schedule, bound=0, seed=0, seconds=0, method=())
    return stamp(instance.problem, plan).objective


@FEW
@given(tiny_documents(most_items=6, most_steps=10))
def test_every_find_passes_the_verifier_and_costs_less(document: dict[str, Any]) -> None:
    instance, schedule = started(valid(document))
    cost = cost_of(instance, schedule)
    for found in searched(instance, schedule):
        assert verified(instance, found) < cost
        cost = cost_of(instance, found)


@FEW
@given(tiny_documents(most_items=6, most_steps=10))
def test_the_search_counts_what_the_verifier_counts(document: dict[str, Any]) -> None:
    instance, search = searching(valid(document))
    search.chunk(5.0)
    assert verified(instance, search.best()) == round(search.cost)


@pytest.mark.parametrize("seed", range(4))
def test_the_search_counts_what_the_verifier_counts_at_a_facility(seed: int) -> None:
    instance, search = searching(facility(60, seed), seed)
    search.chunk(500.0)
    assert verified(instance, search.best()) == round(search.cost)


@pytest.mark.parametrize("seed", range(4))
def test_a_move_that_is_taken_back_leaves_everything_as_it_was(seed: int) -> None:
    _, search = searching(facility(60, seed), seed)
    search.chunk(500.0)
    before = picture(search)
    rk.sample(search.given, search.state, search.work, search.board, 100, np.zeros(100))
    assert picture(search) == before


def picture(search: Search) -> dict[str, Any]:
    """All that matters of a search."""
    state, board, work = search.state, search.board, search.work
    used = [r for r in range(len(state.run)) if state.run[r, kernel.CHAMBER] >= 0]
    kept = [n for n in range(state.run.shape[1]) if n not in (kernel.HEAD, kernel.TOUCHED)]
    spans = [
        slice(int(first), int(first + size))
        for first, size in zip(work.profile[:, 1], board.size, strict=False)
    ]
    return {
        "places": board.place.tolist(),
        "profiles": [(board.time[s].tolist(), board.level[s].tolist()) for s in spans],
        "lots": state.lot[:, kernel.RUN].tolist(),
        "runs": {r: state.run[r, kept].tolist() for r in used},
        "order": [state.sequence[c, : state.filled[c]].tolist() for c in range(len(state.filled))],
        "free": sorted(state.free[: state.numbers[kernel.N_FREE]].tolist()),
        "total": [*board.total.tolist(), *board.finish.tolist()],
    }


@pytest.mark.parametrize("seed", range(4))
def test_what_is_kept_up_move_by_move_is_what_adding_up_anew_gives(seed: int) -> None:
    instance, search = searching(facility(60, seed), seed)
    search.chunk(500.0)
    kept_up = search.board.total[0]
    rk.settle_charges(search.given, search.state, search.work, search.board)
    assert search.board.total[0] == pytest.approx(kept_up)
    minutes = {row: np.zeros(instance.horizon, int) for row in range(len(search.board.size))}
    for task in instance.tasks:
        start, end, station = search.board.place[task.index]
        for load in task.loads if task.lot is None else ():
            first = start + load.offset
            last = end if load.minutes is None else min(end, first + load.minutes)
            minutes[search.work.row_of[station, RESOURCES[load.resource]]][first:last] += (
                load.amount
            )
    for row, used in minutes.items():
        base, size = search.work.profile[row, 1], search.board.size[row]
        times, levels = (
            search.board.time[base : base + size],
            search.board.level[base : base + size],
        )
        edges = np.flatnonzero(np.diff(used, prepend=0))
        assert (times[1:].tolist(), levels[1:].tolist()) == (edges.tolist(), used[edges].tolist())
        assert max(levels) <= search.work.profile[row, 0]


@FEW
@given(tiny_documents(most_items=3, most_steps=4))
def test_never_beats_a_proven_optimum(document: dict[str, Any]) -> None:
    problem = valid(document)
    instance, schedule = started(problem)
    found = [schedule, *searched(instance, schedule)][-1]
    assert solve(problem, seconds=30, workers=1).objective <= verified(instance, found)


def test_same_seed_and_workers_find_the_same() -> None:
    instance, schedule = started(facility(60, seed=3))
    first, second = (searched(instance, schedule, workers=2) for _ in range(2))
    assert first and first == second


def test_far_better_than_the_rules_in_a_few_moves() -> None:
    problem = facility(60, seed=3)
    instance, schedule = started(problem)
    rules = min(dispatch(problem, rule).objective for rule in RULES)
    assert verified(instance, searched(instance, schedule, max_rounds=10)[-1]) < 0.9 * rules


def test_a_plan_made_from_nothing_keeps_the_rules() -> None:
    instance = Instance.of(facility(60, seed=3))
    found = construct(instance, deadline=0.0)
    assert found is not None
    verified(instance, found)


def test_a_run_under_way_stays_and_takes_nothing_new() -> None:
    document = one_of_each()
    document["items"][1]["release_min"] = 0
    free = dispatch(problem_of(document))
    assert [r.items for r in free.runs] == [("A", "B")]
    document["fixed"] = [
        {
            "item": p.item,
            "step": p.step,
            "station": p.station,
            "start": p.start,
            "end": p.end,
            "run": p.run,
        }
        for p in free.placements
        if p.item == "A" and p.end <= free.runs[0].end
    ]
    instance, search = searching(problem_of(document))
    search.chunk(1e9)
    found = search.best()
    verified(instance, found)
    assert len(found.runs()) == 2


def test_what_has_begun_at_a_facility_stays() -> None:
    problem = losses.facility(80).problem
    plan = dispatch(problem)
    moment = sorted(p.start for p in plan.placements)[len(plan.placements) // 3]
    begun = {run.id for run in plan.runs if run.start <= moment}
    fixed = [
        FixedPlacement(**p.model_dump())
        for p in plan.placements
        if p.start <= moment and (p.run is None or p.run in begun)
    ]
    now = problem.model_copy(update={"fixed": tuple(fixed)})
    instance, search = searching(Problem.model_validate(now.model_dump()))
    search.chunk(500.0)
    assert verified(instance, search.best()) == round(search.cost)


def test_no_time_finds_nothing() -> None:
    instance, schedule = started(facility(20))
    assert list(recreate(instance, schedule, lambda: 0.0, workers=1, seed=1)) == []


def test_many_small_pieces_make_way_for_a_large_one() -> None:
    """More must go at once than any other move takes off the board."""
    stay = {"id": "dry", "kind": "room", "stations": ["room"]}
    small = [
        {
            "id": f"small-{n}",
            "weight": 2,
            "due_min": 100,
            "steps": [{**stay, "min_min": 100, "rack_mm": 1}],
        }
        for n in range(20)
    ]
    large = {
        "id": "large",
        "weight": 50,
        "due_min": 10,
        "steps": [{**stay, "min_min": 10, "rack_mm": 20}],
    }
    document = {
        "epoch": "2031-03-03T00:00:00Z",
        "horizon_min": 10_000,
        "stations": [{"kind": "room", "id": "room", "rack_mm": 20}],
        "items": [*small, large],
    }
    instance = Instance.of(problem_of(document))
    last = len(instance.tasks) - 1
    starts = (*([0] * last), 100)
    blocked = Schedule(
        starts,
        tuple(s + t.shortest for s, t in zip(starts, instance.tasks, strict=True)),
        (0,) * (last + 1),
        (),
    )
    assert verified(instance, blocked) == 50 * 100
    best = searched(instance, blocked, max_rounds=5)[-1]
    assert verified(instance, best) == 20 * 2 * 10
