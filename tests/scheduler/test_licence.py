"""Licensed people at the start, at moments after it and at the end of a run; and energy."""

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from scheduler.bounds import energy_bound, lower_bound
from scheduler.check import check
from scheduler.dispatch import dispatch
from scheduler.instance import UNLIMITED, Demand, Instance
from scheduler.licence import licensed_starts
from scheduler.plan import Plan
from scheduler.problem import Problem, Programme
from scheduler.schedule import cost_of, earliest_guess
from scheduler.solve import solve
from tests.scheduler.brute_force import optimum
from tests.scheduler.documents import EPOCH, problem_of

END = 40


@st.composite
def spans(draw: st.DrawFn, last: int = END) -> list[tuple[int, int]]:
    """Spans in order; some touch."""
    edges = draw(st.lists(st.integers(0, last), min_size=2, max_size=7, unique=True))
    edges.sort()
    kept = draw(st.lists(st.booleans(), min_size=len(edges), max_size=len(edges)))
    return [pair for pair, keep in zip(pairwise(edges), kept, strict=False) if keep] or [(0, last)]


programmes = st.builds(
    Programme,
    id=st.just("p"),
    needs_licence=st.booleans(),
    licence_after_min=st.lists(st.integers(0, 6), max_size=2).map(tuple),
    licence_at_end=st.booleans(),
)


def inside(spans: list[tuple[int, int]], minute: int) -> bool:
    return any(a <= minute < b for a, b in spans)


def attended(programme: Programme, licence: list[tuple[int, int]], start: int, end: int) -> bool:
    """Whether licensed people are there whenever the programme says, minute by minute."""
    asked = [start + m for m in programme.licence_after_min]
    asked += [start] * programme.needs_licence + [end] * programme.licence_at_end
    return all(inside(licence, minute) for minute in asked)


@given(programmes, spans(), st.integers(1, 6), st.integers(0, 9))
def test_starts_are_those_for_which_some_length_will_do(
    programme: Programme, licence: list[tuple[int, int]], shortest: int, more: int
) -> None:
    starts = licensed_starts(programme, licence, shortest, shortest + more)
    for start in range(-2 * END, 2 * END):
        some = any(
            attended(programme, licence, start, start + length)
            for length in range(shortest, shortest + more + 1)
        )
        assert (starts is None or inside([*starts], start)) == some


@given(
    programmes,
    spans(),
    st.one_of(st.none(), spans()),
    st.integers(1, 6),
    st.integers(0, 9),
    st.integers(0, 3),
    st.integers(0, END),
)
def test_run_times_are_the_first_of_all(
    programme: Programme,
    licence: list[tuple[int, int]],
    windows: list[tuple[int, int]] | None,
    shortest: int,
    more: int,
    clean: int,
    after: int,
) -> None:
    problem = Problem.model_validate(
        {
            "epoch": EPOCH,
            "horizon_min": END,
            "stations": [
                {
                    "kind": "chamber",
                    "id": "c",
                    "usable_l": 1,
                    "programmes": ["p"],
                    "windows": windows,
                }
            ],
            "programmes": [programme],
            "licence_windows": licence,
            "items": [],
        }
    )
    found = [
        (start, end)
        for start in range(after, 3 * END)
        for end in range(start + shortest, start + shortest + more + 1)
        if attended(programme, licence, start, end)
        and (windows is None or any(a <= start - clean and end <= b for a, b in windows))
    ]
    expected = (UNLIMITED, UNLIMITED)
    if found:
        # One run has both the first start and the first end.
        expected = min(s for s, _ in found), min(e for _, e in found)
        assert expected in found
    demand = Demand(0, shortest, shortest + more)
    assert Instance.of(problem).run_times(demand, 0, after, clean) == expected


def fumigation(**changes: Any) -> dict[str, Any]:
    """One piece, one chamber, a run of 10 to 16 minutes that is cleared at its end."""
    step = {
        "id": "run",
        "kind": "batch",
        "stations": ["c"],
        "programme": "p",
        "min_min": 10,
        "max_min": 16,
    }
    document: dict[str, Any] = {
        "epoch": EPOCH,
        "horizon_min": 100,
        "stations": [{"kind": "chamber", "id": "c", "usable_l": 10, "programmes": ["p"]}],
        "programmes": [{"id": "p", "needs_licence": True, "licence_at_end": True}],
        "licence_windows": [[0, 8], [14, 40]],
        "items": [{"id": "i", "volume_l": 4, "steps": [step]}],
        "weights": {"finish": 5, "running_min": 1},
    }
    return document | changes


def planned(document: dict[str, Any]) -> Plan:
    """The proven best plan, which brute force finds no better."""
    problem = problem_of(document)
    plan = solve(problem, seconds=20, workers=1)
    assert check(problem, plan).passed
    assert plan.status == "optimal"
    assert plan.objective == optimum(problem)
    return plan


def times(plan: Plan) -> tuple[int, int]:
    (run,) = plan.runs
    return run.start, run.end


def test_a_run_lasts_until_the_licensed_person_comes() -> None:
    # It could be over at 10, when nobody is there before 14. Starting at 4 costs the least.
    assert times(planned(fumigation())) == (4, 14)
    # Where it has to start at once it lasts longer.
    early = fumigation(licence_windows=[[0, 1], [14, 40]])
    assert times(planned(early)) == (0, 14)
    assert times(dispatch(problem_of(early))) == (0, 14)


def test_a_run_that_may_not_last_so_long_starts_at_another_time() -> None:
    # From a start at 0 it may last until 16 at most.
    assert times(planned(fumigation(licence_windows=[[0, 1], [17, 40]]))) == (17, 27)


def test_a_chamber_that_closes_before_the_person_comes_takes_the_run_later() -> None:
    document = fumigation(licence_windows=[[0, 1], [14, 40]])
    document["stations"][0]["windows"] = [[0, 13], [20, 60]]
    assert times(planned(document)) == (20, 30)


def test_a_run_may_end_as_the_person_comes_but_not_as_the_person_leaves() -> None:
    # The person is there at the minutes 0 and 10, and gone at 11.
    assert times(planned(fumigation(licence_windows=[[0, 1], [10, 11]]))) == (0, 10)
    with pytest.raises(ValidationError, match="has one for no run of 10 to 16 min"):
        problem_of(fumigation(licence_windows=[[0, 10]]))
    assert times(planned(fumigation(licence_windows=[[0, 11]]))) == (0, 10)


def test_companions_wait_no_longer_than_the_least_tolerant_may() -> None:
    document = fumigation(licence_windows=[[0, 1], [14, 40]], weights={"finish": 1, "lateness": 9})
    (item,) = document["items"]
    document["items"] = [
        item | {"due_min": 14},
        item | {"id": "j", "steps": [item["steps"][0] | {"max_min": 13}]},
    ]
    # The second may not last until 14, so they do not share the run that is in time for the first.
    assert {run.items: (run.start, run.end) for run in planned(document).runs} == {
        ("i",): (0, 14),
        ("j",): (14, 24),
    }


def test_a_second_signature_moves_the_start_and_makes_the_run_last() -> None:
    second = [{"id": "p", "needs_licence": True, "licence_after_min": [12]}]
    # Started at 2 it is signed at 14, and lasts till then.
    assert times(planned(fumigation(programmes=second))) == (2, 14)
    gone = fumigation(programmes=second, licence_windows=[[0, 1], [13, 20]])
    with pytest.raises(ValidationError, match="at each of its moments"):
        problem_of(gone)


def test_moments_that_no_run_can_have_are_named() -> None:
    late = [{"id": "p", "licence_after_min": [3, 17]}]
    with pytest.raises(ValidationError, match="17 min after the start, and the step lasts no more"):
        problem_of(fumigation(programmes=late))
    with pytest.raises(ValidationError, match="licence_windows is empty"):
        problem_of(fumigation(programmes=[{"id": "p", "licence_at_end": True}], licence_windows=[]))
    assert times(planned(fumigation(licence_windows=None))) == (0, 10)


def test_a_gap_in_the_licence_leaves_the_best_plan_the_best() -> None:
    # The wait is fixed, so the run ends at 12 at least: from 0 it lasts 12, from 10 to 17 it lasts
    # 7 and is 2 late. OR-Tools 9.15 with all of its presolve calls the first one optimal.
    document = fumigation(
        programmes=[{"id": "p", "needs_licence": True}],
        licence_windows=[[0, 1], [10, 20]],
        weights={"running_min": 1, "lateness": 1},
        fixed=[{"item": "i", "step": "rest", "start": 21, "end": 22}],
    )
    (item,) = document["items"]
    run = item["steps"][0] | {"min_min": 7, "max_min": 12, "due_min": 15}
    item["steps"] = [run, {"id": "rest", "kind": "wait", "min_min": 1, "lag_max": 9}]
    plan = solve(problem_of(document), seconds=20, workers=1)
    assert (plan.objective, plan.status) == (7 + 2, "optimal")


def test_the_end_counts_in_the_bounds() -> None:
    # The run ends at 14 at the earliest: 5 for each minute, and 1 for each of 10 that it runs.
    instance = Instance.of(problem_of(fumigation()))
    assert lower_bound(instance) == 5 * 14 + 10
    assert instance.tasks[0].earliest_end == 14


def powered(first_w: int, second_w: int, **changes: Any) -> dict[str, Any]:
    """Two pieces that do not share a run, and two chambers of these powers."""
    document = fumigation(
        stations=[
            {"kind": "chamber", "id": name, "usable_l": 5, "programmes": ["p"], "power_w": power}
            for name, power in (("c", first_w), ("d", second_w))
        ],
        programmes=[{"id": "p"}],
        weights={"energy": 3, "finish": 1},
    )
    step = document["items"][0]["steps"][0] | {"stations": ["c", "d"], "max_min": 10}
    document["items"] = [{"id": n, "volume_l": 4, "steps": [step]} for n in "ij"]
    document["horizon_min"] = 20
    return document | changes


def test_energy_is_rounded_up_for_each_run_and_weighed_against_time() -> None:
    # 10 min at 5,400 W are 0.9 kWh and count as 1; at 24,000 W they are 4.
    plan = planned(powered(5_400, 24_000))
    # 9 for the further energy are less than 10 for the later finish.
    assert (plan.amounts.energy_kwh, plan.amounts.finish) == (1 + 4, 10)
    dear = planned(powered(5_400, 30_000))
    assert (dear.amounts.energy_kwh, dear.amounts.finish) == (2, 20)


def test_a_longer_run_uses_more() -> None:
    document = fumigation(
        licence_windows=[[0, 1], [14, 40]], weights={"energy": 1, "lateness": 1}, horizon_min=30
    )
    document["stations"][0]["power_w"] = 60_000
    document["items"][0]["due_min"] = 14
    plan = planned(document)
    # 14 kWh at once against 10 kWh and 10 min late.
    assert (plan.amounts.energy_kwh, plan.amounts.lateness) == (14, 0)
    document["items"][0]["due_min"] = 23
    assert planned(document).amounts.energy_kwh == 10


def test_the_least_energy_by_hand() -> None:
    instance = Instance.of(problem_of(powered(5_400, 24_000)))
    # Two runs of 10 min in the frugal chamber take 1.8 kWh.
    assert energy_bound(instance) == 2
    assert cost_of(instance, earliest_guess(instance)) >= 3 * 2
    fact = {"item": "j", "step": "run", "station": "d", "start": -50, "end": 5, "run": "r"}
    under_way = Instance.of(problem_of(powered(5_400, 24_000, fixed=[fact])))
    # 55 min at 24 kW are 22 kWh.
    assert energy_bound(under_way) == 22 + 1
