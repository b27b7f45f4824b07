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
from scheduler.congestion import _Dual, _Writer, relaxed, supply, widths_until
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
    return relaxed(instance, schedule)


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


def overloaded_room(weight: int = 1, share: int = 1) -> tuple[dict[str, Any], int]:
    """Sixty pieces that dry for a day each in a room with racks for six, and the least lateness.

    All are due in five days, when thirty of them are dry: then six more each day.
    """
    dry = {"id": "d", "kind": "room", "stations": ["r"], "min_min": 1_440, "rack_mm": 100 // share}
    document = bench_document([{"due_min": 5 * 1_440, "weight": weight, "steps": [dry]}] * 60)
    document["stations"] = [{"kind": "room", "id": "r", "rack_mm": 600 // share}]
    return document, weight * 6 * 1_440 * (1 + 2 + 3 + 4 + 5)


def test_a_room_overloaded_for_days_before_slack_deadlines() -> None:
    document, best = overloaded_room()
    assert 0.85 * best <= cost_relaxed(document) <= best


@pytest.mark.parametrize(("weight", "share"), [(1_000, 1), (1, 10), (1_000, 100)])
def test_units_of_charges_and_capacities_do_not_matter(weight: int, share: int) -> None:
    plain = cost_relaxed(overloaded_room()[0])
    document, _ = overloaded_room(weight, share)
    assert cost_relaxed(document) == pytest.approx(weight * plain, rel=0.01)


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


@pytest.mark.parametrize("cells", [4, 1_500])
def test_a_kept_place_is_no_change_and_a_lost_one_is(cells: int) -> None:
    document = bench_document([{"due_min": 60_000}])
    document["weights"] = {"changes": 7}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(congestion, "MOST_CELLS", cells)
        for start in (0, 5, 31, 62, 63, 64, 127, 128, 500):
            last = {"item": "i0", "step": "w", "station": "b", "start": start, "end": start + 100}
            instance = Instance.of(problem_of(document | {"previous": [last]}))
            kept = earliest_guess(instance)
            kept = replace(kept, start=(start,), end=(start + 100,))
            assert cost_of(instance, kept) == relaxed(instance, kept) == 0
            gone = Instance.of(problem_of(document | {"previous": [last | {"station": "gone"}]}))
            assert relaxed(gone, kept) == 7


@pytest.mark.parametrize("cells", [12, 1_500])
def test_moisture_that_falls_over_a_stay(cells: int) -> None:
    # Pieces give off 60, then 20 g/h, in a room that removes 80: one may begin each hour, so the
    # k-th of twelve starts at hour k - 1 at best.
    dry = {"id": "d", "kind": "room", "stations": ["r"], "min_min": 120, "g_h": [60, 20]}
    dry |= {"start_by_min": 0, "start_by_weight": 1}
    document = bench_document([{"steps": [dry]}] * 12)
    document["stations"] = [{"kind": "room", "id": "r", "rack_mm": 1, "removal_g_h": 80}]
    best = 60 * 11 * 12 // 2
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(congestion, "MOST_CELLS", cells)
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


@given(st.integers(1, 500_000), st.integers(1, 2_000))
def test_grids_get_finer_and_end_with_no_more_cells_than_asked(end: int, most: int) -> None:
    widths = widths_until(end, most)
    assert widths == sorted(set(widths), reverse=True)
    assert all(width * most >= end for width in widths)
    assert all(width * most < end for width in congestion.WIDTHS if width < widths[-1])


def test_uses_and_what_prices_raise_agree_with_the_difference_quotient() -> None:
    # The bound is linear in the prices as long as no item's cheapest way changes.
    writer = _Writer(Instance.of(facility(12)))
    dual = _Dual(writer, writer.ways(), 600, 40_000)
    random = np.random.default_rng(3)
    price = 1e-4 * random.random((len(writer.rows), dual.cells))
    bound, raises = dual.value(price)
    change = 1e-10 * random.standard_normal(price.shape)
    assert dual.value(price + change)[0] - bound == pytest.approx(
        float((raises * change).sum()), rel=1e-3
    )


def test_uses_at_edges_pay_what_is_paid_minute_by_minute() -> None:
    # A piece of 25 min from the beginning of any cell of 10 min: 10, 10 and 5 min are paid. It
    # begins in the second cell, or at such prices after the last.
    document = bench_document([{"due_min": 0, "steps": [{"id": "w", "kind": "bench"}]}])
    document["items"][0]["steps"][0] |= {"stations": ["b"], "min_min": 25}
    writer = _Writer(Instance.of(problem_of(document)))
    dual = _Dual(writer, writer.ways(), 10, 40)
    price = np.array([[1.8, 0.2, 0.4, 0.8]])
    earned = 10 * (1.8 + 1.8 + 0.4 + 0.8 + 0.8)
    assert dual.value(price)[0] == pytest.approx(25 + 10 + 10 * 0.2 + 10 * 0.4 + 5 * 0.8 - earned)
    assert dual.value(20 * price)[0] == pytest.approx(25 + 40 - 20 * earned)


@pytest.mark.parametrize("price", [0.5, 1.0, 5.0])
def test_a_use_moved_back_into_the_last_cell_is_earned_after_it(price: float) -> None:
    # Both pieces can begin inside the one cell, 9 min and then 10 min of work, which pay 19 prices:
    # the bench has only 10 min there, and earns the other 9 in the cell that follows.
    document = bench_document([{"due_min": 9}, {"due_min": 19}])
    for item, minutes in zip(document["items"], (9, 10), strict=True):
        item["steps"] = [item["steps"][0] | {"min_min": minutes}]
    writer = _Writer(Instance.of(problem_of(document)))
    dual = _Dual(writer, writer.ways(), 10, 10)
    assert dual.value(np.array([[price]]))[0] <= 0


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
    found = relaxed(instance, schedule)
    assert found <= best + 1
    assert found >= 0.85 * best - 2


@SLOW
@given(tiny_documents(), st.sampled_from([2, 4, 1_500]))
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
        patch.setattr(congestion, "MOST_CELLS", cells)
        found = relaxed(instance, earliest_guess(instance))
    assert found <= best


@settings(SLOW, max_examples=25)
@given(busy_benches(), st.sampled_from([4, 12]))
def test_wider_cells_only_lower_it(document: dict[str, Any], cells: int) -> None:
    instance = Instance.of(problem_of(document))
    schedule = schedule_in_order(instance, order_by(instance, "arrival"), Batching())
    best = time_indexed(instance, max(schedule.end) + 13)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(congestion, "MOST_CELLS", cells)
        assert relaxed(instance, schedule) <= best + 1


@pytest.mark.parametrize("seed", range(2))
def test_below_every_plan_of_a_facility_and_above_items_alone(seed: int) -> None:
    instance = Instance.of(facility(60, seed=seed))
    schedule = schedule_in_order(instance, order_by(instance, "ratio in time"), Batching())
    amounts = amounts_of(instance, schedule)
    weights = instance.problem.weights
    charged = weights.lateness * amounts.lateness + weights.late_items * amounts.late_items
    assert alone_charge(instance) <= relaxed(instance, schedule) <= charged
