"""Promises: nothing is moved where nothing may be, and nobody comes to harm where others may."""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.answer import Harm, harms
from scheduler.check import check
from scheduler.dispatch import dispatch
from scheduler.plan import Placement, Plan
from scheduler.problem import Item
from scheduler.promise import promise
from scheduler.solve import Progress
from tests.scheduler.documents import moved
from tests.scheduler.facility import facility
from tests.scheduler.test_relief import document, end_of, work


def item(**fields: Any) -> Item:
    return Item.model_validate(fields)


def places(plan: Plan) -> dict[tuple[str, str], Placement]:
    return {(p.item, p.step): p.model_copy(update={"run": None}) for p in plan.placements}


def test_a_piece_that_can_wait_makes_room() -> None:
    problem = document([{"id": "A", "label": "Frame", "due_min": 1440 + 960, "steps": [work(300)]}])
    plan = dispatch(problem, "arrival")
    answer = promise(problem, plan, [item(id="N", due_min=0, steps=[work(200)])], seconds=30)
    assert answer.beside is not None
    assert answer.with_room is not None
    assert answer.beside.finish_min == 1440 + 480 + 200
    assert answer.with_room.finish_min == 480 + 200
    assert str(answer).startswith(
        "The new piece can be done by 2031-03-04 11:20 UTC without moving anything. "
        "By 2031-03-03 11:20 UTC if Frame may move, none of them past its due date or later than "
        "it is late now."
    )


def test_a_piece_that_cannot_wait_stays() -> None:
    problem = document([{"id": "A", "due_min": 780, "steps": [work(300)]}])
    plan = dispatch(problem, "arrival")
    answer = promise(problem, plan, [item(id="N", due_min=0, steps=[work(200)])], seconds=30)
    assert answer.with_room is not None
    assert answer.with_room.finish_min == 1440 + 480 + 200
    assert "Moving others within their due dates was not found to help." in str(answer)
    assert "an extra shift at Soot bench from 2031-03-03 16:00 UTC" in str(answer)
    assert answer.reliefs[0].gained_min > 0


def test_with_harm_allowed_it_is_sooner_and_the_harm_is_told() -> None:
    problem = document([{"id": "A", "due_min": 780, "steps": [work(300)]}])
    plan = dispatch(problem, "arrival")
    told: list[Progress] = []
    new = [item(id="N", due_min=0, steps=[work(200)])]
    answer = promise(problem, plan, new, seconds=30, on_progress=told.append)
    assert answer.with_harm is not None
    assert check(answer.problem, answer.with_harm.plan).passed
    assert answer.with_harm.finish_min == answer.earliest_min == 480 + 200
    # Of the two orders in which both fit the bench, only one ends the new piece so soon.
    assert harms(answer.problem, plan, answer.with_harm.plan) == (
        Harm("A", end_of(answer.problem, answer.with_harm.plan, "A") - 780),
    )
    assert {one.phase for one in told} >= {"beside", "with room", "with harm", "least harm"}
    assert {one.bound for one in told} == {480 + 200}


def test_one_that_is_stopped_gives_what_it_has() -> None:
    problem = document([{"id": "A", "due_min": 1440 + 960, "steps": [work(300)]}])
    plan = dispatch(problem, "arrival")
    new = [item(id="N", due_min=0, steps=[work(200)])]
    answer = promise(problem, plan, new, seconds=30, should_stop=lambda: True)
    assert answer.beside is not None
    assert answer.beside.finish_min == 1440 + 480 + 200
    assert answer.reliefs == ()


def test_new_pieces_join_a_run_with_room_in_it() -> None:
    run = {"id": "run", "kind": "batch", "stations": ["big"], "programme": "p", "min_min": 50}
    problem = document([{"id": "A", "release_min": 10, "volume_l": 4, "steps": [run]}])
    plan = dispatch(problem, "arrival")
    answer = promise(problem, plan, [item(id="N", volume_l=4, steps=[run])], seconds=30)
    assert answer.beside is not None
    assert len(answer.beside.plan.runs) == 1
    assert answer.beside.finish_min == 60


def test_no_place_before_the_horizon_is_said() -> None:
    problem = document([{"id": "A", "due_min": 0, "steps": [work(480)]}], horizon_min=960)
    plan = dispatch(problem, "arrival")
    answer = promise(problem, plan, [item(id="N", steps=[work(100)])], seconds=20)
    assert (answer.beside, answer.with_room, answer.reliefs) == (None, None, ())
    assert str(answer) == (
        "The new piece finds no place before 2031-03-03 16:00 UTC unless others move. "
        "No plan was found that moves others within their due dates either."
    )


def test_room_is_made_where_there_is_none_beside_the_plan() -> None:
    problem = document([{"id": "A", "due_min": 960, "steps": [work(200)]}], horizon_min=960)
    plan = moved(dispatch(problem, "arrival"), "A", "soot", start=600, end=800)
    # 120 min are free before A and 160 after it.
    answer = promise(problem, plan, [item(id="N", steps=[work(200)])], seconds=20)
    assert answer.beside is None
    assert answer.with_room is not None
    assert answer.with_room.finish_min == 480 + 200
    assert [c.item for c in answer.with_room.moved] == ["A"]
    assert end_of(answer.problem, answer.with_room.plan, "A") <= 960


def test_bad_questions_are_refused() -> None:
    problem = document([{"id": "A", "steps": [work(60)]}])
    plan = dispatch(problem, "arrival")
    with pytest.raises(ValueError, match="no new items"):
        promise(problem, plan, [])
    with pytest.raises(ValueError, match="name each once"):
        promise(problem, plan, [item(id="A", steps=[work(60)])])
    with pytest.raises(ValueError, match="another problem document"):
        promise(document([]), plan, [item(id="N", steps=[work(60)])])


@settings(
    deadline=None,
    max_examples=5,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(st.integers(2, 24), st.integers(1, 4), st.integers(0, 1_000))
def test_nothing_moves_and_nobody_is_harmed(count: int, more: int, seed: int) -> None:
    problem = facility(count, seed, days=60)
    plan = dispatch(problem, "deadline")
    new = [
        i.model_copy(update={"id": f"N-{i.id}", "release_min": 0})
        for i in facility(more, seed + 1, days=60).items
    ]
    answer = promise(problem, plan, new, seconds=60, max_rounds=2)
    assert answer.beside is not None
    assert answer.with_room is not None
    for offer in (answer.beside, answer.with_room):
        assert check(answer.problem, offer.plan).passed
        ends = [end_of(answer.problem, offer.plan, i.id) for i in new]
        assert offer.finish_min == max(ends)
    now = places(answer.beside.plan)
    assert {key: now[key] for key in places(plan)} == places(plan)
    assert answer.beside.moved == ()
    assert answer.with_room.finish_min <= answer.beside.finish_min
    assert answer.with_harm is not None
    assert check(answer.problem, answer.with_harm.plan).passed
    assert answer.earliest_min <= answer.with_harm.finish_min <= answer.with_room.finish_min
    assert harms(answer.problem, plan, answer.with_room.plan) == ()
    for piece in problem.items:
        before, after = (end_of(problem, p, piece.id) for p in (plan, answer.with_room.plan))
        assert piece.due_min is not None
        assert after <= max(before, piece.due_min)
