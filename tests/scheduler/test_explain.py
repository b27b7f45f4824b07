"""The binding reason of a step is found and said in words."""

from typing import Any

import pytest

from scheduler.dispatch import dispatch
from scheduler.explain import explain, reasons
from scheduler.plan import Plan
from scheduler.problem import Problem
from tests.scheduler.documents import EPOCH, problem_of

BENCH = {"kind": "bench", "id": "bench", "label": "Soot bench", "shifts": [[0, 100, 1]]}
CHAMBER = {"kind": "chamber", "id": "big", "usable_l": 10, "programmes": ["p", "q"]}


def bench_work(minutes: int) -> dict[str, Any]:
    return {"id": "soot", "kind": "bench", "stations": ["bench"], "min_min": minutes}


def batch(programme: str = "p") -> dict[str, Any]:
    return {
        "id": "run",
        "kind": "batch",
        "stations": ["big"],
        "programme": programme,
        "min_min": 50,
    }


def planned(items: list[dict[str, Any]], **changes: Any) -> tuple[Problem, Plan]:
    document: dict[str, Any] = {
        "epoch": EPOCH,
        "horizon_min": 3000,
        "stations": [BENCH, CHAMBER],
        "programmes": [{"id": "p"}, {"id": "q", "needs_licence": True}],
        "items": items,
    }
    problem = problem_of(document | changes)
    return problem, dispatch(problem, "arrival")


def binding(problem: Problem, plan: Plan, item: str) -> str:
    return reasons(problem, plan, item)[-1].binding


def test_a_taken_bench() -> None:
    items = [{"id": "A", "steps": [bench_work(30)]}, {"id": "B", "steps": [bench_work(20)]}]
    problem, plan = planned(items)
    assert binding(problem, plan, "B") == "the staff of Soot bench is taken by A"
    assert reasons(problem, plan, "B")[0].waited_min == 30


def test_a_closed_bench() -> None:
    shut = BENCH | {"shifts": [[0, 10, 1], [60, 100, 1]]}
    problem, plan = planned([{"id": "A", "steps": [bench_work(20)]}], stations=[shut, CHAMBER])
    assert binding(problem, plan, "A") == "Soot bench opens only then"


def test_a_bench_that_was_full_before_it_closed() -> None:
    shut = BENCH | {"shifts": [[0, 20, 1], [60, 100, 1]]}
    items = [{"id": name, "steps": [bench_work(20)]} for name in "AB"]
    problem, plan = planned(items, stations=[shut, CHAMBER])
    assert "had no room before it closed" in binding(problem, plan, "B")


def test_a_busy_chamber_and_its_clean_down() -> None:
    items = [
        {"id": "A", "steps": [batch("p")]},
        {"id": "B", "steps": [batch("q")]},
    ]
    problem, plan = planned(items, clean_down_default={"minutes": 15, "cost": 1})
    assert binding(problem, plan, "B") == (
        "big was busy with run-001 (p) and its clean-down took 15 min"
    )


def test_a_missing_licence() -> None:
    problem, plan = planned([{"id": "A", "steps": [batch("q")]}], licence_windows=[[70, 80]])
    assert "needs a licensed person" in binding(problem, plan, "A")


def test_a_companion_that_was_late() -> None:
    items: list[dict[str, Any]] = [
        {"id": "A", "steps": [batch()]},
        {"id": "B", "release_min": 40, "steps": [batch()]},
    ]
    problem, plan = planned(items, together=[["A", "B"]])
    assert binding(problem, plan, "A") == "its run run-001 waited for B"
    assert binding(problem, plan, "B") == "it is not here before"


def test_a_step_held_back_by_the_next() -> None:
    wait = {"id": "thaw", "kind": "wait", "min_min": 5}
    later = BENCH | {"shifts": [[60, 100, 1]]}
    steps = [wait, bench_work(20) | {"lag_max": 10}]
    problem, plan = planned([{"id": "A", "steps": steps}], stations=[later, CHAMBER])
    assert reasons(problem, plan, "A")[0].binding == (
        "soot must follow within 10 min and starts only later"
    )


def test_the_sentence_says_how_late_and_why() -> None:
    items: list[dict[str, Any]] = [
        {"id": "A", "steps": [bench_work(30)]},
        {"id": "B", "label": "Small landscape", "due_min": 45, "steps": [bench_work(20)]},
    ]
    problem, plan = planned(items)
    assert explain(problem, plan, "B") == (
        "Small landscape ends 2031-03-03 00:50 UTC, 5 min late: "
        "soot waited 30 min because the staff of Soot bench is taken by A."
    )
    assert "it never waited" in explain(problem, plan, "A")
    with pytest.raises(KeyError):
        explain(problem, plan, "C")
