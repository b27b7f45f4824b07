"""The plan's pages: why, what people tell the planner, planning anew, and two leads at once."""

import json
import subprocess
import sys
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import unquote
from zoneinfo import ZoneInfo

import pytest
from starlette.testclient import TestClient

from scheduler.check import check
from service.facility import plan_pages
from service.facility.desk import DeskState
from service.facility.plans import Draft, Progress, Watch, adopt
from service.installation import Installation
from service.log import reading
from shared import events as ev
from shared.records import FacilityBook, PlanEdit
from shared.vocabulary import Damage, Material, PartRole
from tests.service.conftest import Clock
from tests.service.facility.house import (
    BOWL,
    CANVAS,
    FACILITY,
    LEAD,
    PANE,
    VASE,
    bring,
    furnish,
    open_run,
    quick_draft,
    say,
)
from tests.service.facility.test_pages import (
    desk_of,
    planned_for,
    problem_after,
    text_of,
    wait_for,
)

PLAN = "/facility/plan"
DUBLIN = ZoneInfo("Europe/Dublin")


@pytest.fixture
def house(here: Installation) -> Draft:
    """Three pieces for the chamber, two of which are one, a soaked one, and a plan in use."""
    furnish(here)
    bring(here, VASE, title="Vase")
    bring(here, BOWL, title="Bowl")
    bring(here, PANE, title="Foot", parent=BOWL, role=PartRole.FRAME)
    bring(here, CANVAS, Damage.SOAKED, materials=(Material.OIL_CANVAS,), title="Canvas")
    made = quick_draft(here)
    adopt(here, made, LEAD)
    return made


def book(here: Installation) -> FacilityBook:
    with here.database.read() as session:
        return reading.facility(session)


def standing(here: Installation) -> list[PlanEdit]:
    return [one for one in book(here).edits if not one.withdrawn]


def edit(client: TestClient, path: str, **form: Any) -> str:
    """What the page says after an edit: the refusal, or that it was taken."""
    sent = {"actor": LEAD, "reason": "said so"} | form
    answer = client.post(path, data=sent)
    assert answer.status_code == 303, answer.text[:300]
    location = unquote(answer.headers["location"])
    assert client.get(answer.headers["location"]).status_code == 200
    return location.partition("?")[2]


def local(moment: datetime) -> str:
    return f"{moment.astimezone(DUBLIN):%Y-%m-%dT%H:%M}"


def place(made: Draft, tag: str, step: str) -> Any:
    return next(one for one in made.plan.placements if (one.item, one.step) == (tag, step))


# --- looking ------------------------------------------------------------------------------------


def test_a_piece_and_a_run_say_why_they_start_no_sooner(client: TestClient, house: Draft) -> None:
    text = text_of(client, f"{PLAN}/pieces/{VASE}")
    for words in ("Why no sooner", "Because", "Move to…", "Hold", "Keep as planned", "Keep apart"):
        assert words in text
    run = planned_for(house, VASE)
    text = text_of(client, f"{PLAN}/runs/{run}")
    for words in ("Why no sooner", "Pieces (", "Vase", "Split"):
        assert words in text
    for path in (f"{PLAN}/pieces/0000000000000", f"{PLAN}/runs/none"):
        assert client.get(path).status_code in {404, 422}


def test_the_board_is_narrowed_and_zoomed_by_links(client: TestClient, house: Draft) -> None:
    for query in ("days=2", "days=28&day=2", "station=bench", "loss=none", "days=9", "piece=zz"):
        assert client.get(f"{PLAN}?{query}").status_code == 200
    page = client.get(f"{PLAN}?piece={VASE}&days=7").text
    assert f"{PLAN}/pieces/{VASE}" in page
    assert f"{PLAN}/pieces/{CANVAS}" not in page.partition("The board as a table")[2]
    assert "days=28&amp;piece" in page


def test_what_misses_or_nearly_misses_its_deadline_is_listed_with_the_cause(
    client: TestClient, here: Installation, clock: Clock
) -> None:
    furnish(here)
    bring(here, CANVAS, Damage.SOAKED, materials=(Material.OIL_CANVAS,), title="Canvas")
    clock.forward(days=4)
    adopt(here, quick_draft(here), LEAD)
    text = text_of(client, PLAN)
    assert "Late (1)" in text
    assert "must start" in text


def test_the_pages_load_no_solver() -> None:
    found = subprocess.run(
        [sys.executable, "-c", "import sys, service.app; print('ortools' in sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert found.stdout.strip() == "False"


# --- telling the planner ------------------------------------------------------------------------


def test_a_run_is_moved_to_the_other_chamber_and_the_next_plan_keeps_it(
    client: TestClient, here: Installation, house: Draft
) -> None:
    run = next(one for one in house.plan.runs if VASE in one.items)
    other = {"box": "spare", "spare": "box"}[run.station]
    told = edit(client, f"{PLAN}/runs/{run.id}/move", station=other, seen=book(here).plan_seen)
    assert told.startswith("done=Taken."), told
    label = {"box": "Box chamber", "spare": "Spare chamber"}[other]
    assert "Move to another place or time: " in text_of(client, PLAN)
    assert f"chamber run: at {label}" in text_of(client, PLAN)
    made = quick_draft(here)
    assert {one.station for one in made.plan.runs if VASE in one.items} == {other}


def test_a_place_that_is_not_for_the_work_is_refused_and_nothing_is_kept(
    client: TestClient, here: Installation, house: Draft
) -> None:
    path = f"{PLAN}/pieces/{VASE}/move"
    told = edit(client, path, step="chamber", station="bench")
    assert told == "problem=Cannot: Bench is not for chamber run of Vase"
    assert edit(client, path, step="chamber").startswith("problem=station: choose where to")
    assert edit(client, path, step="chamber", station="box", reason="").startswith("problem=reason")
    assert edit(client, path, step="chamber", station="box", actor="").startswith("problem=Your")
    assert edit(client, path, step="chamber", not_before="soon").startswith("problem=time: write")
    assert edit(client, f"{PLAN}/pieces/{VASE}/polish").startswith("problem=polish: the planner")
    assert standing(here) == []


def test_a_hold_until_a_time_delays_the_step(
    client: TestClient, here: Installation, clock: Clock, house: Draft
) -> None:
    until = clock.at + timedelta(days=3)
    path = f"{PLAN}/pieces/{VASE}/hold"
    gone = edit(client, path, step="chamber", not_before=local(clock.at - timedelta(days=1)))
    assert gone == "problem=Cannot: its time has passed"
    told = edit(client, path, step="chamber", not_before=local(until))
    assert told.startswith("done=Taken."), told
    made = quick_draft(here)
    start = place(made, VASE, "chamber").start
    assert made.planning.problem.epoch + timedelta(minutes=start) >= until.replace(second=0)
    clock.forward(days=4)
    (judged,) = quick_draft(here).planning.edits
    assert judged.note == "its time has passed"


def test_a_hold_for_a_person_leaves_it_out_until_it_is_withdrawn(
    client: TestClient, here: Installation, house: Draft
) -> None:
    told = edit(client, f"{PLAN}/pieces/{VASE}/hold", step="chamber", waits_for="Con Servator")
    assert told.startswith("done=Taken."), told
    made = quick_draft(here)
    assert all(VASE not in run.items for run in made.plan.runs)
    whys = [one.why for one in made.planning.left_out if one.tag == VASE]
    assert "held before chamber run: waits for Con Servator" in whys
    (kept,) = standing(here)
    assert problem_after(client, f"{PLAN}/withdraw", edit=kept.edit, actor=LEAD) is None
    assert standing(here) == []
    assert any(VASE in run.items for run in quick_draft(here).plan.runs)
    again = problem_after(client, f"{PLAN}/withdraw", edit=kept.edit, actor=LEAD)
    assert "does not count any more" in (again or "")


def test_a_pin_keeps_a_piece_and_its_whole_run_where_they_are(
    client: TestClient, here: Installation, clock: Clock, house: Draft
) -> None:
    told = edit(client, f"{PLAN}/pieces/{VASE}/pin")
    assert told.startswith("done=Taken."), told
    made = quick_draft(here)
    was, now = place(house, VASE, "chamber"), place(made, VASE, "chamber")
    assert (was.station, was.start, was.end, was.run) == (now.station, now.start, now.end, now.run)
    before = next(run for run in house.plan.runs if run.id == was.run)
    after = next(run for run in made.plan.runs if run.id == now.run)
    assert set(before.items) == set(after.items)
    say(
        here,
        ev.StationClosed(
            station=was.station,
            starts_at=clock.at,
            ends_at=clock.at + timedelta(days=20),
            reason="burnt",
        ),
    )
    (judged,) = quick_draft(here).planning.edits
    assert "is closed or out of use then" in judged.note


def test_pieces_are_kept_apart_but_not_a_piece_from_its_part(
    client: TestClient, here: Installation, house: Draft
) -> None:
    together = edit(client, f"{PLAN}/pieces/{BOWL}/separate", other=PANE)
    assert together == ("problem=Cannot: Bowl and Foot belong together and share their run"), (
        together
    )
    assert edit(client, f"{PLAN}/pieces/{VASE}/separate", other="zz").startswith("problem=")
    told = edit(client, f"{PLAN}/pieces/{VASE}/separate", other=BOWL)
    assert told.startswith("done=Taken."), told
    made = quick_draft(here)
    assert not any({VASE, BOWL} <= set(run.items) for run in made.plan.runs)


def test_a_run_is_split(client: TestClient, here: Installation, house: Draft) -> None:
    run = next(one for one in house.plan.runs if len(one.items) > 1)
    path = f"{PLAN}/runs/{run.id}/separate"
    for pieces in ([], list(run.items)):
        assert edit(client, path, pieces=pieces).startswith("problem=pieces: tick some")
    if VASE not in run.items:
        pytest.fail("the invented pieces no longer share a run")
    assert edit(client, path, pieces=[VASE]).startswith("done=Taken.")
    rest = set(run.items) - {VASE}
    for one in quick_draft(here).plan.runs:
        assert not (VASE in one.items and rest & set(one.items))


def test_what_is_under_way_takes_no_orders_and_what_is_done_falls_away(
    client: TestClient, here: Installation, house: Draft
) -> None:
    assert edit(client, f"{PLAN}/pieces/{VASE}/hold", step="stabilise", waits_for="Ada")
    say(here, ev.ItemReturned(tag=VASE, received_by="its owner", condition="good"))
    (judged,) = quick_draft(here).planning.edits
    assert judged.note == "done: nothing of it is left to plan"


def test_an_edit_that_cannot_be_kept_any_more_is_told_on_the_board(
    client: TestClient, here: Installation, house: Draft
) -> None:
    run = planned_for(house, VASE)
    assert "done" in edit(client, f"{PLAN}/runs/{run}/move", station="spare")
    assert "fell away" not in text_of(client, PLAN)
    gone = FACILITY.model_copy(
        update={"stations": tuple(one for one in FACILITY.stations if one.id != "spare")}
    )
    say(here, ev.FacilityDescribed(facility=gone))
    assert desk_of(client).repair(here, LEAD) is None
    wait_for(desk_of(client))
    text = text_of(client, PLAN)
    assert "told to the planner fell away" in text
    assert "there is no spare any more; choose another place" in text
    assert f"Told by {LEAD}" in text


def test_no_new_run_is_named_like_one_that_was_opened_before(
    client: TestClient, here: Installation, house: Draft
) -> None:
    names = [run.id for run in house.plan.runs]
    open_run(here, VASE, run=names[0])
    problem_after(client, f"{PLAN}/solve", seconds=5)
    wait_for(desk_of(client))
    ready = desk_of(client).state().ready
    assert ready is not None, desk_of(client).state().failed
    assert ready.plan.runs
    assert names[0] not in {run.id for run in ready.plan.runs}
    assert check(ready.planning.problem, ready.plan).passed


# --- two leads at once --------------------------------------------------------------------------


def test_an_edit_made_on_an_old_page_is_refused_with_what_changed(
    client: TestClient, here: Installation, house: Draft
) -> None:
    seen = book(here).plan_seen
    first = edit(client, f"{PLAN}/pieces/{VASE}/pin", seen=seen, reason="the owner comes")
    assert first.startswith("done=Taken.")
    second = edit(client, f"{PLAN}/pieces/{BOWL}/pin", seen=seen, actor="Bo")
    assert second == (
        "problem=Not done, because meanwhile: Ada Lead edited the plan (keep as planned): "
        "the owner comes. Look again, then decide."
    )
    assert len(standing(here)) == 1


def test_a_plan_made_before_a_decision_is_not_adopted(
    client: TestClient, here: Installation, house: Draft
) -> None:
    assert problem_after(client, f"{PLAN}/solve", seconds=5, actor="Ada") is None
    busy = problem_after(client, f"{PLAN}/solve", seconds=5, actor="Bo")
    assert busy == "A plan is being made already for Ada; wait for it."
    wait_for(desk_of(client))
    ready = desk_of(client).state().ready
    assert ready is not None, desk_of(client).state().failed
    edit(client, f"{PLAN}/pieces/{VASE}/pin")
    assert "This plan can't be taken any more" in text_of(client, PLAN)
    stale = problem_after(client, f"{PLAN}/adopt", plan=ready.digest, actor="Bo")
    assert (stale or "").startswith("Not done, because meanwhile: Ada Lead edited the plan")
    assert book(here).plans_adopted == 1


# --- planning anew ------------------------------------------------------------------------------


def test_a_failed_station_is_recorded_and_the_plan_put_back_around_it(
    client: TestClient, here: Installation, clock: Clock, house: Draft
) -> None:
    run = next(one for one in house.plan.runs if VASE in one.items)
    path, until = f"{PLAN}/close", local(clock.at + timedelta(days=6))
    form = {"station": run.station, "until": until, "reason": "the fan stopped", "actor": LEAD}
    assert (problem_after(client, path, **(form | {"station": "x"})) or "").startswith("station:")
    past = local(clock.at - timedelta(hours=1))
    assert (problem_after(client, path, **(form | {"until": past})) or "").startswith("until:")
    assert book(here).closures == []
    open_run(here, VASE, run="under-way", station=run.station)
    answer = client.post(path, data=form)
    assert "Run under-way is in it" in unquote(answer.headers["location"])
    wait_for(desk_of(client))
    ready = desk_of(client).state().ready
    assert ready is not None, desk_of(client).state().failed
    assert ready.plan.method == ("last plan repaired",)
    days = (book(here).closures[0].ends_at - ready.planning.problem.epoch).total_seconds() / 60
    assert all(one.start >= days for one in ready.plan.runs if one.station == run.station)
    assert "the fan stopped" in text_of(client, PLAN)
    assert problem_after(client, f"{PLAN}/adopt", plan=ready.digest, actor=LEAD) is None


def test_changes_that_are_refused_stay_as_they_were(
    client: TestClient, here: Installation, clock: Clock, house: Draft
) -> None:
    run = next(one for one in house.plan.runs if VASE in one.items)
    start = house.planning.problem.epoch + timedelta(minutes=run.start)
    edit(client, f"{PLAN}/runs/{run.id}/hold", not_before=local(start + timedelta(days=2)))
    problem_after(client, f"{PLAN}/solve", seconds=5)
    wait_for(desk_of(client))
    text = text_of(client, PLAN)
    assert "What changes (" in text
    (kept,) = standing(here)
    problem_after(client, f"{PLAN}/withdraw", edit=kept.edit, actor=LEAD)
    problem_after(client, f"{PLAN}/solve", seconds=5, keep=VASE)
    wait_for(desk_of(client))
    ready = desk_of(client).state().ready
    assert ready is not None, desk_of(client).state().failed
    assert ready.kept == {VASE}
    assert place(ready, VASE, "chamber").start == place(house, VASE, "chamber").start
    assert "Kept as in the plan in use" in text_of(client, PLAN)
    assert problem_after(client, f"{PLAN}/drop") is None
    assert desk_of(client).state().ready is None


def test_progress_is_told_as_it_comes_and_the_search_can_be_stopped(
    client: TestClient, here: Installation, house: Draft
) -> None:
    nothing = problem_after(client, f"{PLAN}/stop")
    assert nothing == "Nothing is being made now."
    answer = client.get(f"{PLAN}/progress")
    assert answer.headers["content-type"].startswith("text/event-stream")
    (told,) = [json.loads(line[6:]) for line in answer.text.splitlines() if line]
    assert told["over"] == "over"
    problem_after(client, f"{PLAN}/solve", seconds=600)
    assert problem_after(client, f"{PLAN}/stop") is None
    wait_for(desk_of(client))


def test_progress_in_words() -> None:
    watch = Watch()
    state = DeskState[Draft](datetime(2031, 5, 6, tzinfo=DUBLIN), None, None, "Ada", 60, watch)
    assert plan_pages.progress_words(state)["best"] == "none yet"
    watch.latest = Progress(12.4, "routes", 1200, 900, 0.25)
    assert plan_pages.progress_words(state) == {
        "best": "1,200",
        "bound": "900",
        "gap": "25.0%",
        "seconds": "12 of 60",
        "over": "",
    }
