"""Priced capacity: cases worked by hand, and against brute force and a linear programme."""

from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st
from ortools.linear_solver import pywraplp
from pydantic import ValidationError

from scheduler import congestion
from scheduler.bounds import alone_charge
from scheduler.congestion import _Dual, _Writer, edges_until, relaxed, supply
from scheduler.dispatch import Batching, order_by, schedule_in_order
from scheduler.instance import Instance, start_spans
from scheduler.problem import Bench, Problem
from scheduler.schedule import amounts_of, cost_of, earliest_guess
from tests.scheduler.brute_force import optimum
from tests.scheduler.documents import EPOCH, one_of_each, problem_of
from tests.scheduler.facility import facility
from tests.scheduler.test_solve import tiny_documents

SLOW = settings(
    deadline=None,
    max_examples=60,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


def bench_document(items: list[dict[str, Any]], people: int = 1) -> dict[str, Any]:
    """Pieces of (by default) 100 min of work each at one bench."""
    step = {"id": "w", "kind": "bench", "stations": ["b"], "min_min": 100}
    return {
        "epoch": EPOCH,
        "horizon_min": 100_000,
        "stations": [{"kind": "bench", "id": "b", "shifts": [[0, 100_000, people]]}],
        "items": [{"id": f"i{n}", "steps": [step], **item} for n, item in enumerate(items)],
    }


def cost_relaxed(document: dict[str, Any]) -> int:
    instance = Instance.of(problem_of(document))
    schedule = schedule_in_order(instance, order_by(instance, "arrival"), Batching())
    return relaxed(instance, schedule).cost


def test_pieces_due_at_once_at_one_bench() -> None:
    # The k-th of twenty ends at 100 k, so together they are 100 + 200 + ... late; alone, none is.
    best = 100 * 19 * 20 // 2
    assert 0.95 * best <= cost_relaxed(bench_document([{"due_min": 100}] * 20)) <= best


def test_weight_over_length_rules_the_order() -> None:
    # W. E. Smith, Naval Research Logistics Quarterly 3, 1956: weight over length, largest first,
    # minimises the weighted sum of ends on one machine.
    sizes = [(30, 1), (60, 7), (20, 3), (90, 4), (50, 9), (40, 2), (70, 5), (10, 1)]
    ends = best = 0
    for minutes, weight in sorted(sizes, key=lambda s: -s[1] / s[0]):
        ends += minutes
        best += weight * ends
    step = {"id": "w", "kind": "bench", "stations": ["b"]}
    document = bench_document(
        [{"weight": w, "due_min": 0, "steps": [step | {"min_min": m}]} for m, w in sizes]
    )
    assert 0.93 * best <= cost_relaxed(document) <= best


def test_weight_over_length_rules_the_relaxed_starts() -> None:
    sizes = [(10, 9), (10, 5), (10, 3), (10, 1)]
    step = {"id": "w", "kind": "bench", "stations": ["b"], "min_min": 10}
    document = bench_document(
        [{"weight": w, "due_min": 0, "steps": [step | {"min_min": m}]} for m, w in sizes]
    )
    instance = Instance.of(problem_of(document))
    schedule = schedule_in_order(instance, order_by(instance, "arrival"), Batching())
    start = relaxed(instance, schedule).start
    assert list(start) == sorted(start)


def test_without_congestion_it_is_what_items_cost_alone() -> None:
    document = bench_document([{"due_min": 40, "weight": 3}, {"due_min": 70}], people=2)
    assert cost_relaxed(document) == 3 * 60 + 30


def test_two_short_stations_are_counted_together() -> None:
    # Ten pieces at one bench and ten others at another: neither alone shows the whole lateness.
    best = 100 * 9 * 10 // 2
    document = bench_document([{"due_min": 100}] * 20)
    document["stations"].append({"kind": "bench", "id": "c", "shifts": [[0, 100_000, 1]]})
    for item in document["items"][10:]:
        item["steps"] = [item["steps"][0] | {"stations": ["c"]}]
    assert 0.9 * 2 * best <= cost_relaxed(document) <= 2 * best


def test_late_items_when_only_so_many_fit() -> None:
    # Of ten pieces of 100 min due at 300, three can be in time (J. M. Moore, Management Science
    # 15(1), 1968); nothing but being late is charged.
    document = bench_document([{"due_min": 300, "weight": 0}] * 10)
    document["weights"] = {"late_items": 1_000}
    assert 0.9 * 7_000 <= cost_relaxed(document) <= 7_000


def test_fixed_work_takes_capacity_and_is_charged() -> None:
    document = bench_document([{"due_min": 100}, {"due_min": 50}])
    document["fixed"] = [{"item": "i1", "step": "w", "station": "b", "start": 0, "end": 100}]
    instance = Instance.of(problem_of(document))
    assert supply(instance, 0, "people") == [(100, 100_000, 1)]
    assert 50 + 90 <= cost_relaxed(document) <= 50 + 100


@pytest.mark.parametrize("cells", [4, 1_080])
def test_a_kept_place_is_no_change_and_a_lost_one_is(cells: int) -> None:
    document = bench_document([{"due_min": 60_000}])
    document["weights"] = {"changes": 7}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(congestion, "CELLS", cells)
        patch.setattr(congestion, "FEWEST_CELLS", cells)
        for start in (0, 5, 31, 62, 63, 64, 127, 128, 500):
            last = {"item": "i0", "step": "w", "station": "b", "start": start, "end": start + 100}
            instance = Instance.of(problem_of(document | {"previous": [last]}))
            kept = earliest_guess(instance)
            kept = replace(kept, start=(start,), end=(start + 100,))
            assert cost_of(instance, kept) == relaxed(instance, kept).cost == 0
            gone = Instance.of(problem_of(document | {"previous": [last | {"station": "gone"}]}))
            assert relaxed(gone, kept).cost == 7


@pytest.mark.parametrize("cells", [12, 1_080])
def test_moisture_that_falls_over_a_stay(cells: int) -> None:
    # Pieces give off 60, then 20 g/h, in a room that removes 80: one may begin each hour, so the
    # k-th of twelve starts at hour k - 1 at best.
    dry = {"id": "d", "kind": "room", "stations": ["r"], "min_min": 120, "g_h": [60, 20]}
    dry |= {"start_by_min": 0, "start_by_weight": 1}
    document = bench_document([{"steps": [dry]}] * 12)
    document["stations"] = [{"kind": "room", "id": "r", "rack_mm": 1, "removal_g_h": 80}]
    best = 60 * 11 * 12 // 2
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(congestion, "CELLS", cells)
        patch.setattr(congestion, "FEWEST_CELLS", cells)
        found = cost_relaxed(document)
    assert (0.4 if cells == 12 else 0.9) * best <= found <= best


def test_supply_of_windows_and_fixed_runs() -> None:
    document = one_of_each()
    document["fixed"] = [
        {"item": "A", "step": "run", "station": "chamber", "start": 100, "end": 200, "run": "r"}
    ]
    instance = Instance.of(problem_of(document))
    names = {s.id: n for n, s in enumerate(instance.stations)}
    assert supply(instance, names["chamber"], "litres") == [
        (0, 100, 100),
        (200, 800, 100),
        (900, 2000, 100),
    ]
    assert supply(instance, names["bench"], "people") == [(0, 400, 2), (600, 1000, 1)]
    assert supply(instance, names["room"], "rack") == [(0, 1500, 1300)]


def test_starts_lie_wholly_inside_spans() -> None:
    assert start_spans([(0, 10), (20, 24), (30, 35)], 5) == [(0, 5), (30, 30)]


@given(st.integers(1, 500_000), st.integers(20, 2_000))
def test_cells_cover_the_time_and_never_get_narrower(end: int, cells: int) -> None:
    edges = edges_until(end, cells)
    widths = np.diff(edges)
    assert edges[0] == 0
    assert edges[-1] >= end
    assert (np.diff(widths) >= 0).all()
    assert (edges % widths[0] == 0).all()


def test_uses_joined_within_a_cell_cost_the_same() -> None:
    writer = _Writer(Instance.of(facility(12)))
    apart = writer.ways()
    dual = _Dual(writer, apart, edges_until(40_000, 60))
    assert len(dual.ways.row) < len(apart.row)
    price = 1e-4 * np.random.default_rng(3).random(dual.supplied.shape)
    joined, raises, _ = dual.value(price)
    dual.ways = apart
    bound, same, _ = dual.value(price)
    assert joined == pytest.approx(bound)
    assert raises == pytest.approx(same)


@st.composite
def busy_benches(draw: st.DrawFn) -> dict[str, Any]:
    """Up to seven pieces of one or two steps at a bench of one or two people, with breaks."""
    items = []
    for _ in range(draw(st.integers(2, 7))):
        steps = [
            {"id": f"s{k}", "kind": "bench", "stations": ["b"], "min_min": draw(st.integers(1, 5))}
            for k in range(draw(st.integers(1, 2)))
        ]
        steps[0] |= {
            "start_by_min": draw(st.integers(-3, 9)),
            "start_by_weight": draw(st.integers(0, 4)),
        }
        items.append(
            {
                "release_min": draw(st.integers(0, 4)),
                "weight": draw(st.integers(0, 9)),
                "due_min": draw(st.integers(0, 20)),
                "steps": steps,
            }
        )
    document = bench_document(items)
    document["horizon_min"] = 200
    document["weights"] = {"late_items": draw(st.integers(0, 20))}
    people = draw(st.integers(1, 2))
    document["stations"][0]["shifts"] = [[13 * n, 13 * n + 10, people] for n in range(15)]
    return document


def time_indexed(instance: Instance, horizon: int) -> float:
    """The optimum of the linear relaxation in which every item chooses, in parts, among all its
    ways (starts of its one or two steps), minute by minute, under the people there are.
    """
    solver = pywraplp.Solver.CreateSolver("GLOP")
    bench = instance.stations[0]
    assert isinstance(bench, Bench)
    people = [
        next((s.people for s in bench.shifts if s.start <= m < s.end), 0) for m in range(horizon)
    ]
    at = [solver.Constraint(0, n) for n in people]
    objective = solver.Objective()
    objective.SetMinimization()
    late_once = instance.problem.weights.late_items
    for route in instance.routes:
        once = solver.Constraint(1, 1)
        tasks = [instance.tasks[t] for t in route]
        for way in product(range(horizon), repeat=len(tasks)):
            ready = tasks[0].earliest
            inside = True
            for task, start in zip(tasks, way, strict=True):
                end = start + task.shortest
                inside &= start >= ready and end <= horizon and all(people[start:end])
                ready = end
            if not inside:
                continue
            x = solver.NumVar(0, 1, "")
            once.SetCoefficient(x, 1)
            cost = 0
            for task, start in zip(tasks, way, strict=True):
                late, item_late = instance.lateness(task, start, start + task.shortest)
                cost += late + late_once * item_late
                for minute in range(start, start + task.shortest):
                    at[minute].SetCoefficient(x, 1)
            objective.SetCoefficient(x, cost)
    assert solver.Solve() == pywraplp.Solver.OPTIMAL
    return float(objective.Value())


@settings(SLOW, max_examples=25)
@given(busy_benches())
def test_close_below_the_time_indexed_linear_programme(document: dict[str, Any]) -> None:
    # The best prices give the optimum of this linear programme (A. M. Geoffrion, Mathematical
    # Programming Study 2, 1974), here solved by the simplex method.
    instance = Instance.of(problem_of(document))
    schedule = schedule_in_order(instance, order_by(instance, "arrival"), Batching())
    best = time_indexed(instance, max(schedule.end) + 13)
    found = relaxed(instance, schedule).cost
    assert found <= best + 1
    assert found >= 0.85 * best - 2


@SLOW
@given(tiny_documents(), st.sampled_from([2, 4, 1_080]))
def test_never_above_the_optimum(document: dict[str, Any], cells: int) -> None:
    try:
        problem = Problem.model_validate(document)
    except ValidationError:
        reject()
    best = optimum(problem)
    if best is None:
        reject()
    instance = Instance.of(problem)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(congestion, "CELLS", cells)
        patch.setattr(congestion, "FEWEST_CELLS", cells)
        found = relaxed(instance, earliest_guess(instance)).cost
    assert found <= best


@settings(SLOW, max_examples=25)
@given(busy_benches(), st.sampled_from([4, 12]))
def test_wider_cells_only_lower_it(document: dict[str, Any], cells: int) -> None:
    instance = Instance.of(problem_of(document))
    schedule = schedule_in_order(instance, order_by(instance, "arrival"), Batching())
    best = time_indexed(instance, max(schedule.end) + 13)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(congestion, "CELLS", cells)
        patch.setattr(congestion, "FEWEST_CELLS", cells)
        assert relaxed(instance, schedule).cost <= best + 1


@pytest.mark.parametrize("seed", range(2))
def test_below_every_plan_of_a_facility_and_above_items_alone(seed: int) -> None:
    instance = Instance.of(facility(60, seed=seed))
    schedule = schedule_in_order(instance, order_by(instance, "ratio in time"), Batching())
    amounts = amounts_of(instance, schedule)
    weights = instance.problem.weights
    charged = weights.lateness * amounts.lateness + weights.late_items * amounts.late_items
    assert alone_charge(instance) <= relaxed(instance, schedule).cost <= charged
