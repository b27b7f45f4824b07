"""The local search over runs: always feasible, never worse, exact where runs are all there is."""

import random
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from scheduler import kernel
from scheduler.anneal import SHARES, anneal, given_of, state_of
from scheduler.check import stamp
from scheduler.dispatch import NoDispatchError, PlannedRun, around_runs, best_dispatch
from scheduler.instance import Instance
from scheduler.kernel import Given, State
from scheduler.problem import Problem
from scheduler.schedule import Schedule, cost_of, to_plan
from scheduler.solve import solve
from tests.scheduler.documents import EPOCH, one_of_each, problem_of
from tests.scheduler.test_solve import tiny_documents, valid

FEW = settings(
    deadline=None,
    max_examples=60,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
FOREVER = 1e9
GAS, AIR = "gas", "air"


def runs_only(rng: random.Random, count: int) -> dict[str, Any]:
    """Pieces that need one run each: everything about chambers, and nothing else."""
    pieces = [
        {
            "id": f"i{n}",
            "weight": rng.randint(1, 5),
            "release_min": rng.randint(0, 20),
            "due_min": rng.randint(5, 60),
            "volume_l": rng.randint(1, 5),
            "rail_mm": rng.randint(0, 5),
            "tags": rng.choice([[], [], ["mouldy"], ["clean"], ["mouldy", "clean"]]),
            "steps": [
                {
                    "id": "run",
                    "kind": "batch",
                    "stations": rng.choice([["c1"], ["c2"], ["c1", "c2"]]),
                    "programme": rng.choice([GAS, AIR]),
                    "min_min": (shortest := rng.randint(3, 9)),
                    "max_min": shortest + rng.choice([0, 2, 9]),
                    "start_by_min": rng.randint(0, 40),
                    "start_by_weight": rng.choice([0, 3]),
                }
            ],
        }
        for n in range(count)
    ]
    return {
        "epoch": EPOCH,
        "horizon_min": 400,
        "stations": [
            {
                "kind": "chamber",
                "id": "c1",
                "usable_l": 9,
                "rail_mm": 12,
                "programmes": [GAS, AIR],
                "windows": [[0, 60], [70, 130], [140, 400]],
                "starts_in": AIR,
                "power_w": 9_000,
            },
            {
                "kind": "chamber",
                "id": "c2",
                "usable_l": 6,
                "programmes": [GAS, AIR],
                "power_w": 25_000,
            },
        ],
        "programmes": [
            {
                "id": GAS,
                "needs_licence": rng.random() < 0.8,
                "licence_after_min": rng.choice([[], [2], [1, 3]]),
                "licence_at_end": rng.random() < 0.6,
            },
            {"id": AIR, "licence_at_end": rng.random() < 0.2},
        ],
        "clean_downs": [
            {"after": GAS, "into": AIR, "minutes": 4, "cost": 9},
            {"after": AIR, "into": GAS, "minutes": 2, "cost": 5},
            {"after": GAS, "into": GAS, "minutes": 1, "cost": 1},
        ],
        "licence_windows": [[0, 15], [30, 45], [60, 400]],
        "items": pieces,
        "apart": [["mouldy", "clean"]],
        "together": [["i0", "i1"]] if pieces[0]["steps"] == pieces[1]["steps"] else [],
        "weights": {
            "lateness": 3,
            "late_items": 40,
            "running_min": 2,
            "clean_down_cost": 1,
            "changes": 5,
            "finish": 1,
            "energy": 7,
        },
    }


def started(problem: Problem) -> tuple[Instance, Schedule]:
    instance = Instance.of(problem)
    found = best_dispatch(instance, 0.0)
    if found is None:
        reject()
    return instance, found.schedule


def searched(instance: Instance, schedule: Schedule, **how: Any) -> list[Schedule]:
    asked: dict[str, Any] = {"workers": 1, "seed": 1, "max_rounds": 3} | how
    return list(anneal(instance, schedule, lambda: FOREVER, **asked))


def made(count: int, seed: int) -> tuple[Instance, Given, State]:
    instance, schedule = started(problem_of(runs_only(random.Random(seed), count)))
    given = given_of(instance, schedule)
    return instance, given, state_of(instance, given, schedule, seed)


seeds = st.integers(0, 10_000)


@FEW
@given(tiny_documents(most_items=5, most_steps=8))
def test_every_find_passes_the_verifier_and_costs_less(document: dict[str, Any]) -> None:
    problem = valid(document)
    instance, schedule = started(problem)
    cost = cost_of(instance, schedule)
    for found in searched(instance, schedule):
        plan = to_plan(instance, found, bound=0, seed=1, seconds=0, method=())
        assert stamp(problem, plan).verified is not None
        assert plan.objective == cost_of(instance, found) < cost
        cost = plan.objective


@FEW
@given(seeds, st.integers(2, 25))
def test_where_runs_are_all_there_is_the_search_counts_what_the_verifier_counts(
    seed: int, count: int
) -> None:
    instance, given, state = made(count, seed)
    kernel.anneal(given, state, 2_000, 20.0, SHARES)
    places = {
        slot: [lot for lot in range(count) if state.best_run[lot] == slot]
        for slot in set(state.best_run.tolist())
    }
    assert len(state.best_run) == len(instance.lots)
    chambers = sorted(instance.first_programme)
    runs = [
        PlannedRun(
            chambers[state.best_place[slot, 0]],
            int(state.best_place[slot, 1]),
            tuple(lot.index for lot in instance.lots if state.best_run[lot.index] == slot),
        )
        for slot in places
    ]
    _, schedule = started(instance.problem)
    found = around_runs(instance, schedule, runs)
    assert cost_of(instance, found) == round(float(state.total[1]))
    stamp(instance.problem, to_plan(instance, found, bound=0, seed=0, seconds=0, method=()))


@FEW
@given(seeds, st.integers(2, 25), st.integers(0, len(SHARES) - 1))
def test_a_move_that_is_taken_back_leaves_everything_as_it_was(
    seed: int, count: int, kind: int
) -> None:
    _, given, state = made(count, seed)
    kernel.anneal(given, state, 300, 50.0, SHARES)
    only = np.array([1.0 if n >= kind else 0.0 for n in range(len(SHARES))])
    before = picture(state)
    kernel.sample_worsening(given, state, 200, only, np.zeros(200))
    assert picture(state) == before


@FEW
@given(seeds, st.integers(4, 25))
def test_chambers_that_trade_tails_have_each_others_runs_from_there_on(
    seed: int, count: int
) -> None:
    _, given, state = made(count, seed)
    kernel.anneal(given, state, 300, 50.0, SHARES)
    before = [sequence(state, c) for c in range(len(state.filled))]
    for _ in range(30):
        state.numbers[kernel.N_MOVE] += 1
        state.numbers[kernel.N_UNDO] = 0
        kernel.trade_tails(given, state)
        after = [sequence(state, c) for c in range(len(state.filled))]
        if state.numbers[kernel.N_UNDO]:
            assert state.undo[0, 0] == kernel.OP_TAILS
            r = int(state.undo[0, 1])
            gave, took = (0, 1) if r in before[0] else (1, 0)
            p, q = before[gave].index(r), after[took].index(r)
            assert after[gave] == before[gave][:p] + before[took][q:]
            assert after[took] == before[took][:q] + before[gave][p:]
            for c, runs in enumerate(after):
                assert state.run[runs, kernel.CHAMBER].tolist() == [c] * len(runs)
                assert state.run[runs, kernel.PLACE].tolist() == list(range(len(runs)))
        kernel.undo(given, state)
        assert [sequence(state, c) for c in range(len(state.filled))] == before


def sequence(state: State, c: int) -> list[int]:
    """The runs of a chamber, in order."""
    return [int(r) for r in state.sequence[c, : state.filled[c]]]


def picture(state: State) -> dict[str, Any]:
    """All that matters of a search: the runs in use with their lots, places, times and charges."""
    used = [r for r in range(len(state.run)) if state.run[r, kernel.CHAMBER] >= 0]
    kept = [n for n in range(state.run.shape[1]) if n not in (kernel.HEAD, kernel.TOUCHED)]
    return {
        "lots": state.lot[:, kernel.RUN].tolist(),
        "runs": {r: state.run[r, kept].tolist() for r in used},
        "charges": {r: state.charge[r].tolist() for r in used},
        "unfit": {r: state.unfit[r].tolist() for r in used},
        "groups": {r: state.groups[r].tolist() for r in used},
        "order": [sequence(state, c) for c in range(len(state.filled))],
        "free": sorted(state.free[: state.numbers[kernel.N_FREE]].tolist()),
        "total": state.total.tolist(),
    }


@FEW
@given(seeds, st.integers(2, 30))
def test_what_is_kept_up_move_by_move_is_what_adding_up_anew_gives(seed: int, count: int) -> None:
    instance, given, state = made(count, seed)
    kernel.anneal(given, state, 1_500, 30.0, SHARES)
    used = [r for r in range(len(state.run)) if state.run[r, kernel.CHAMBER] >= 0]
    free = state.free[: state.numbers[kernel.N_FREE]].tolist()
    assert sorted(used + free) == list(range(len(state.run)))
    for r in used:
        lots = [lot for lot in instance.lots if state.lot[lot.index, kernel.RUN] == r]
        chamber = instance.chamber(sorted(instance.first_programme)[state.run[r, kernel.CHAMBER]])
        assert lots and state.run[r, kernel.SIZE] == len(lots)
        assert state.run[r, kernel.LITRES] == sum(lot.litres for lot in lots) <= chamber.usable_l
        assert state.run[r, kernel.RAIL] == sum(lot.rail for lot in lots) <= chamber.rail_mm
        assert state.run[r, kernel.LENGTH] == max(lot.shortest for lot in lots)
        assert state.run[r, kernel.LENGTH] <= min(lot.longest for lot in lots)
        assert {lot.programme for lot in lots} == {state.run[r, kernel.PROGRAMME]}
        assert not any(
            instance.apart(one, other) for one in lots for other in lots if one is not other
        )
    kept_up, times = state.total[0], state.run[:, kernel.START].copy()
    assert kernel.settle_all(given, state)
    assert state.total[0] == pytest.approx(kept_up)
    assert state.run[used, kernel.START].tolist() == times[used].tolist()


@pytest.mark.parametrize("seed", range(12))
def test_finds_the_proven_optimum_of_small_problems(seed: int) -> None:
    problem = problem_of(runs_only(random.Random(seed), 6))
    proven = solve(problem, seconds=60)
    assert proven.status == "optimal"
    instance, schedule = started(problem)
    found = [schedule, *searched(instance, schedule, max_rounds=8)]
    assert cost_of(instance, found[-1]) == proven.objective


def test_same_seed_and_workers_find_the_same() -> None:
    instance, schedule = started(problem_of(runs_only(random.Random(3), 40)))
    first, second = (searched(instance, schedule, workers=2) for _ in range(2))
    assert first == second
    assert first


def test_a_run_under_way_stays_and_takes_nothing_new() -> None:
    document = runs_only(random.Random(5), 12)
    first = document["items"][0]["steps"][0]
    document["together"] = []
    document["items"][0]["release_min"] = 0
    document["fixed"] = [
        {
            "item": "i0",
            "step": "run",
            "station": first["stations"][0],
            "start": -4,
            "end": 7,
            "run": "under way",
            "state": "in_progress",
        }
    ]
    problem = problem_of(document)
    instance, schedule = started(problem)
    found = searched(instance, schedule, max_rounds=4)[-1]
    plan = stamp(problem, to_plan(instance, found, bound=0, seed=0, seconds=0, method=()))
    (run,) = [run for run in plan.runs if run.id == "under way"]
    assert (run.start, run.end, run.items) == (-4, 7, ("i0",))


def test_no_time_finds_nothing() -> None:
    instance, schedule = started(problem_of(runs_only(random.Random(3), 20)))
    assert list(anneal(instance, schedule, lambda: 0.0, workers=1, seed=0)) == []


def test_steps_before_a_run_stay_and_those_after_follow_it() -> None:
    problem = problem_of(one_of_each())
    instance, schedule = started(problem)
    (run,) = {schedule.start[lot.tasks[0]] for lot in instance.lots}
    later = PlannedRun(instance.lots[0].stations[0], run + 20, tuple(range(len(instance.lots))))
    moved = around_runs(instance, schedule, [later])
    for task in instance.tasks:
        if task.lot is None:
            assert moved.start[task.index] == schedule.start[task.index]
    with pytest.raises(NoDispatchError):
        around_runs(instance, schedule, [later._replace(start=0)])
