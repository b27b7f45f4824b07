"""What a plan changes from the last one, in exact words, the most harmful first."""

from typing import Any

from scheduler.changes import changes
from scheduler.dispatch import dispatch
from scheduler.plan import Placement
from scheduler.problem import PreviousPlacement, Problem
from tests.scheduler.documents import EPOCH, problem_of


def planned(**changed: Any) -> Problem:
    work = {"id": "soot", "kind": "bench", "stations": ["one", "two"], "min_min": 30}
    document: dict[str, Any] = {
        "epoch": EPOCH,
        "horizon_min": 1_000,
        "stations": [
            {"kind": "bench", "id": "one", "label": "Bench 1", "shifts": [[0, 900, 1]]},
            {"kind": "bench", "id": "two", "label": "Bench 2", "shifts": [[500, 900, 1]]},
        ],
        "items": [
            {"id": "A", "label": "Portrait", "due_min": 40, "weight": 3, "steps": [work]},
            {"id": "B", "due_min": 70, "steps": [work]},
        ],
    }
    return problem_of(document | changed)


def at(item: str, start: int, station: str = "one") -> Placement:
    return Placement(item=item, step="soot", station=station, start=start, end=start + 30)


def said(problem: Problem, last: list[Placement]) -> list[str]:
    return [str(c) for c in changes(problem, dispatch(problem, "arrival"), last)]


def test_nothing_changed_says_nothing() -> None:
    assert said(planned(), [at("A", 0), at("B", 30)]) == []


def test_later_sooner_elsewhere_new_and_gone() -> None:
    problem = planned()
    assert said(problem, [at("A", 0), at("C", 60)]) == [
        "B is new: it ends 2031-03-03 01:00 UTC.",
        "C is gone: it is no longer planned.",
    ]
    assert said(problem, [at("A", 0), at("B", 500, "two")]) == [
        "B ends 7 h 50 min sooner, 2031-03-03 01:00 UTC and is no longer late: "
        "soot moves from Bench 2 to Bench 1 and starts 7 h 50 min sooner."
    ]
    assert said(problem, [at("A", 0), at("B", 30, "two")]) == [
        "B ends as before, 2031-03-03 01:00 UTC: soot moves from Bench 2 to Bench 1."
    ]
    assert said(problem, [at("A", 0), at("B", 30, "gone")]) == [
        "B ends as before, 2031-03-03 01:00 UTC: soot moves from gone to Bench 1."
    ]


def test_what_becomes_late_is_told_first() -> None:
    late = planned(
        stations=[
            {"kind": "bench", "id": "one", "label": "Bench 1", "shifts": [[40, 900, 1]]},
            {"kind": "bench", "id": "two", "label": "Bench 2", "shifts": [[500, 900, 1]]},
        ]
    )
    last = [at("A", 0), at("B", 0)]
    found = changes(late, dispatch(late, "arrival"), last)
    # A is 30 minutes past its due date at weight 3; B is 30 past at weight 1.
    assert [(c.item, c.more_late, c.later_min) for c in found] == [("A", 90, 40), ("B", 30, 70)]
    assert str(found[0]) == (
        "Portrait ends 40 min later, 2031-03-03 01:10 UTC and is 30 min late: "
        "soot starts 40 min later."
    )


def test_the_tolerance_and_facts_are_no_changes() -> None:
    fixed = [{"item": "A", "step": "soot", "station": "one", "start": 0, "end": 30}]
    problem = planned(change_tolerance_min=5, fixed=fixed)
    assert said(problem, [at("A", 0, "two"), at("B", 26)]) == []


def test_the_documents_last_plan_is_the_default() -> None:
    previous = [PreviousPlacement(item="A", step="soot", station="one", start=60, end=90)]
    problem = planned(previous=previous)
    found = changes(problem, dispatch(problem, "arrival"))
    assert [c.item for c in found] == ["B", "A"]
    assert "Portrait ends 1 h sooner" in str(found[1])
