"""The binding reason of a step is found and said in words."""

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.dispatch import dispatch
from scheduler.explain import Explainer, explain
from scheduler.plan import Plan
from scheduler.problem import Problem
from tests.scheduler.documents import EPOCH, moved, problem_of
from tests.scheduler.facility import facility

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
    return Explainer(problem, plan).reasons(item)[-1].binding


def test_a_taken_bench() -> None:
    items = [{"id": "A", "steps": [bench_work(30)]}, {"id": "B", "steps": [bench_work(20)]}]
    problem, plan = planned(items)
    assert binding(problem, plan, "B") == "everyone at Soot bench is busy (A)"
    assert Explainer(problem, plan).reasons("B")[0].waited_min == 30


def test_a_step_that_was_told_to_wait() -> None:
    held = bench_work(20) | {"not_before_min": 45}
    problem, plan = planned([{"id": "A", "steps": [held]}])
    (reason,) = Explainer(problem, plan).reasons("A")
    assert (reason.cause, reason.waited_min) == ("held", 45)
    assert "because it was told to wait until then" in explain(problem, plan, "A")
    others = [{"id": "B", "steps": [bench_work(60)]}, {"id": "A", "steps": [held]}]
    problem, plan = planned(others)
    (reason,) = Explainer(problem, plan).reasons("A")
    assert (reason.cause, reason.waited_min) == ("full", 15)


def test_a_closed_bench() -> None:
    shut = BENCH | {"shifts": [[0, 10, 1], [60, 100, 1]]}
    problem, plan = planned([{"id": "A", "steps": [bench_work(20)]}], stations=[shut, CHAMBER])
    assert binding(problem, plan, "A") == (
        "Soot bench closes before it would be done and opens again only then"
    )


def test_a_bench_that_is_not_open_yet() -> None:
    shut = BENCH | {"shifts": [[60, 100, 1]]}
    problem, plan = planned([{"id": "A", "steps": [bench_work(20)]}], stations=[shut, CHAMBER])
    assert binding(problem, plan, "A") == "Soot bench opens only then"


def test_a_bench_that_was_full_before_it_closed() -> None:
    shut = BENCH | {"shifts": [[0, 20, 1], [60, 100, 1]]}
    items = [{"id": name, "steps": [bench_work(20)]} for name in "AB"]
    problem, plan = planned(items, stations=[shut, CHAMBER])
    assert "has no room before it closes" in binding(problem, plan, "B")


def test_a_busy_chamber_and_its_clean_down() -> None:
    items = [
        {"id": "A", "steps": [batch("p")]},
        {"id": "B", "steps": [batch("q")]},
    ]
    problem, plan = planned(items, clean_down_default={"minutes": 15, "cost": 1})
    assert binding(problem, plan, "B") == (
        "big is busy with run-001 (p) and then takes 15 min to clean down"
    )


def test_a_missing_licence() -> None:
    problem, plan = planned([{"id": "A", "steps": [batch("q")]}], licence_windows=[[70, 80]])
    assert "needs a licensed person" in binding(problem, plan, "A")


FUMIGATION = {"id": "q", "needs_licence": True, "licence_at_end": True}


def test_a_licensed_person_who_comes_too_late_to_clear_a_run() -> None:
    problem, plan = planned(
        [{"id": "A", "steps": [batch("q")]}],
        programmes=[{"id": "p"}, FUMIGATION],
        licence_windows=[[0, 20], [60, 80]],
    )
    # It lasts 50, so it starts at 10 to be cleared at 60, and at 10 somebody is there to start it.
    assert binding(problem, plan, "A") == (
        "q needs a licensed person when it ends, available only then"
    )
    assert plan.runs[0].start == 10


def test_a_second_signature_that_holds_a_run() -> None:
    problem, plan = planned(
        [{"id": "A", "steps": [batch("q")]}],
        programmes=[{"id": "p"}, {"id": "q", "licence_after_min": [30]}],
        licence_windows=[[70, 80]],
    )
    assert binding(problem, plan, "A") == (
        "q needs a licensed person 30 min after its start, available only then"
    )


def test_a_run_kept_closed_until_it_is_cleared_is_told() -> None:
    problem, plan = planned(
        [{"id": "A", "steps": [batch("q") | {"max_min": 1000}]}],
        programmes=[{"id": "p"}, FUMIGATION],
        licence_windows=[[0, 20], [900, 950]],
    )
    assert explain(problem, plan, "A") == (
        "A ends 2031-03-03 15:00 UTC: it never waits. "
        "run-001 lasts 14 h 10 min longer than it must, until a licensed person comes."
    )


def test_a_companion_that_was_late() -> None:
    items: list[dict[str, Any]] = [
        {"id": "A", "steps": [batch()]},
        {"id": "B", "release_min": 40, "steps": [batch()]},
    ]
    problem, plan = planned(items, together=[["A", "B"]])
    assert binding(problem, plan, "A") == "its run run-001 waits for B"
    assert binding(problem, plan, "B") == "it is not here before"


def test_a_step_held_back_by_the_next() -> None:
    wait = {"id": "thaw", "kind": "wait", "min_min": 5}
    later = BENCH | {"shifts": [[60, 100, 1]]}
    steps = [wait, bench_work(20) | {"lag_max": 10}]
    problem, plan = planned([{"id": "A", "steps": steps}], stations=[later, CHAMBER])
    assert Explainer(problem, plan).reasons("A")[0].binding == (
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
        "soot waits 30 min because everyone at Soot bench is busy (A)."
    )
    assert "it never waits" in explain(problem, plan, "A")
    with pytest.raises(KeyError):
        explain(problem, plan, "C")


def test_the_chain_goes_on_to_what_held_the_piece_in_the_way() -> None:
    items: list[dict[str, Any]] = [
        {"id": "A", "release_min": 5, "steps": [bench_work(30)]},
        {"id": "B", "release_min": 6, "steps": [bench_work(20)]},
        {"id": "C", "release_min": 7, "due_min": 75, "steps": [bench_work(20)]},
    ]
    problem, plan = planned(items)
    assert explain(problem, plan, "C") == (
        "C ends 2031-03-03 01:15 UTC, just when it is due: "
        "soot waits 48 min because everyone at Soot bench is busy (B). "
        "B itself was held: soot waits 29 min because everyone at Soot bench is busy (A). "
        "A itself arrives only 2031-03-03 00:05 UTC."
    )
    assert [link.item for link in Explainer(problem, plan).chain("C")] == ["C", "B", "A"]


def test_the_chain_ends_at_work_that_is_fixed() -> None:
    items = [{"id": name, "steps": [bench_work(20)]} for name in "AB"]
    fixed = [{"item": "A", "step": "soot", "station": "bench", "start": 0, "end": 20}]
    problem, plan = planned(items, fixed=fixed)
    assert explain(problem, plan, "B") == (
        "B ends 2031-03-03 00:40 UTC: soot waits 20 min because everyone at Soot bench is busy "
        "(A). A itself is under way or frozen."
    )


def test_a_run_that_is_full_says_what_it_holds() -> None:
    items = [{"id": name, "volume_l": 6, "steps": [batch()]} for name in "AB"]
    problem, plan = planned(items)
    assert binding(problem, plan, "B") == "run-001 before it in big is full (6 of 10 L, it takes 6)"


def test_pieces_that_travel_apart_say_so() -> None:
    items = [{"id": n, "tags": [t], "steps": [batch()]} for n, t in (("A", "x"), ("B", "y"))]
    problem, plan = planned(items, apart=[["x", "y"]])
    assert binding(problem, plan, "B") == "run-001 before it has A, and the two travel apart"


def test_a_rack_and_moisture_and_a_store_that_are_full() -> None:
    rooms: list[dict[str, Any]] = [
        {"kind": "room", "id": "rack", "rack_mm": 10},
        {"kind": "room", "id": "fans", "rack_mm": 99, "removal_g_h": 100},
        {"kind": "store", "id": "cold", "litres": 5},
    ]
    stay = {"id": "stay", "kind": "room", "min_min": 120, "rack_mm": 6, "g_h": [60, 30]}
    hold = {"id": "hold", "kind": "store", "stations": ["cold"], "min_min": 60}

    def said(step: dict[str, Any]) -> str:
        items = [{"id": name, "volume_l": 3, "steps": [step]} for name in "AB"]
        return binding(*planned(items, stations=rooms), "B")

    assert said(stay | {"stations": ["rack"]}) == "the rack of rack is full (A)"
    assert said(stay | {"stations": ["fans"]}) == "fans can remove no more moisture (A)"
    assert said(hold) == "cold is full (A)"


def test_a_stay_that_goes_on_gives_off_nothing_after_its_shortest_time() -> None:
    room = {"kind": "room", "id": "fans", "rack_mm": 99, "removal_g_h": 100}
    stay = {"id": "stay", "kind": "room", "stations": ["fans"], "min_min": 60, "g_h": [60] * 3}
    items = [{"id": name, "steps": [stay | {"max_min": 180}]} for name in "AB"]
    problem, plan = planned(items, stations=[room])
    longer = moved(moved(plan, "A", "stay", end=180), "B", "stay", start=120, end=180)
    assert binding(problem, longer, "B") == "the plan puts other work first"


@settings(
    deadline=None,
    max_examples=15,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(st.integers(1, 40), st.integers(0, 1_000))
def test_every_item_has_an_answer_whose_parts_agree(count: int, seed: int) -> None:
    problem = facility(count, seed)
    plan = dispatch(problem, "deadline")
    place = {(p.item, p.step): p for p in plan.placements}
    explainer = Explainer(problem, plan)
    for item in problem.items:
        reasons = explainer.reasons(item.id)
        assert [r.step for r in reasons] == [s.id for s in item.steps]
        # What is not waiting is work and rest: together they fill the time until the end.
        busy = sum(
            place[item.id, s.id].end - place[item.id, s.id].start + s.lag_min for s in item.steps
        )
        waited = sum(r.waited_min for r in reasons)
        assert item.release_min + busy + waited == place[item.id, item.steps[-1].id].end
        chain = explainer.chain(item.id)
        assert len(chain) <= 3
        assert len({link.item for link in chain}) == len(chain)
        for one, following in pairwise(chain):
            assert following.item in {name for name, _ in one.reason.blockers}
        assert explainer.explain(item.id).endswith(".")
