"""A loss that is not taken yet: how soon it could be done, and what that does to what is here."""

import re
from datetime import timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from scheduler.dispatch import dispatch
from scheduler.explain import span
from scheduler.problem import Item as PlannedItem
from scheduler.promise import promise
from service.facility import desk as desks
from service.facility.desk import PromiseDesk
from service.facility.plans import Draft, adopt
from service.facility.promise import (
    MOST_PIECES,
    GuessForm,
    HarmedLoss,
    Outlook,
    Reader,
    finish_of,
    pieces_of,
)
from service.installation import Installation
from service.log import reading
from shared.vocabulary import Damage, Material
from tests.scheduler.test_relief import document, work
from tests.service.conftest import Clock
from tests.service.facility.house import (
    BOWL,
    CANVAS,
    LEAD,
    VASE,
    bring,
    furnish,
    quick_draft,
)
from tests.service.facility.test_pages import text_of, wait_for
from tests.service.facility.test_plan_pages import DUBLIN

PROMISE = "/facility/promise"


def guess_form(**changed: Any) -> dict[str, Any]:
    """A form with one kind of piece, as a browser sends it."""
    row = {
        "count": ["2", ""],
        "object_type": ["decorative", ""],
        "material": ["ceramic_high", ""],
        "damage": ["smoke_odour", ""],
        "also": ["", ""],
        "size": ["small", ""],
    }
    return row | {"arrives": "2031-12-01", "seconds": "20", "asked_by": LEAD} | changed


def desk_of(client: TestClient) -> PromiseDesk:
    desk: PromiseDesk = client.app.state.promise_desk  # type: ignore[attr-defined]
    return desk


def asked(client: TestClient, **changed: Any) -> Outlook:
    """The answer to a question."""
    answer = client.post(PROMISE, data=guess_form(**changed))
    assert answer.status_code == 303, answer.text
    wait_for(desk_of(client))
    state = desk_of(client).state()
    assert state.ready is not None, state.failed
    return state.ready


@pytest.fixture
def today(clock: Clock) -> str:
    return f"{clock.at.astimezone(DUBLIN):%Y-%m-%d}"


@pytest.fixture
def used(here: Installation) -> Draft:
    """Three pieces and a plan in use."""
    furnish(here)
    bring(here, VASE, title="Vase")
    bring(here, BOWL, title="Bowl")
    bring(here, CANVAS, Damage.SOAKED, materials=(Material.OIL_CANVAS,), title="Canvas")
    made = quick_draft(here)
    adopt(here, made, LEAD)
    return made


def test_a_guess_is_answered_beside_the_plan_and_nothing_is_recorded(
    client: TestClient, here: Installation, used: Draft, today: str
) -> None:
    with here.database.read() as session:
        seen, pieces = (
            reading.facility(session).plan_seen,
            reading.items(session, reading.EVERYTHING),
        )
    found = asked(client, arrives=today)
    assert (found.here, found.planned, found.has_plan) == (
        len(used.planning.problem.items),
        2,
        True,
    )
    assert found.beside is not None
    assert found.with_room is not None
    assert found.with_harm is not None
    assert found.beside.moved == 0
    assert found.beside.harmed == found.with_room.harmed == ()
    assert found.earliest <= found.with_harm.ends <= found.with_room.ends <= found.beside.ends
    text = text_of(client, PROMISE)
    for words in (
        "Earliest finish by this plan",
        "This is no promise",
        "The lead decides",
        "The counts are a guess",
        "No plan ends sooner than",
    ):
        assert words in text
    with here.database.read() as session:
        assert reading.facility(session).plan_seen == seen
        assert reading.items(session, reading.EVERYTHING) == pieces


def test_harm_is_told_by_loss_and_by_how_much(
    client: TestClient,
    here: Installation,
    used: Draft,
    today: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    problem = document(
        [
            {"id": "A", "label": "Frame", "due_min": 780, "steps": [work(300)]},
            {"id": "B", "label": "Print", "due_min": 4 * 1440, "steps": [work(100)]},
        ]
    )
    present = dispatch(problem, "deadline")
    new = PlannedItem.model_validate(
        {"id": "N", "due_min": 0, "steps": [work(200) | {"start_by_min": 100}]}
    )
    found = promise(problem, present, [new], seconds=30)
    assert found.with_harm is not None
    ends = {one.item: one.end for one in found.with_harm.plan.placements}
    told = finish_of(found.problem, present, found.with_harm.plan, [new], {"A": "L-1", "B": "L-2"})
    assert ends["A"] > 780
    late = ends["A"] - 780
    assert told.harmed == (HarmedLoss("L-1", 1, late, late, (("A", "Frame", late),)),)
    assert told.ends == problem.epoch + timedelta(minutes=ends["N"])
    assert told.moved >= 1
    assert told.missed == 1  # the bench opens at minute 480

    guess = Reader(DUBLIN, here.now()).guess(GuessForm(**guess_form()))
    assert guess is not None
    outlook = Outlook(
        guess=guess,
        made_at=problem.epoch,
        has_plan=True,
        here=2,
        planned=1,
        beside=None,
        with_room=None,
        with_harm=told,
        earliest=problem.epoch,
        forward=("an extra shift: it ends 2 h sooner",),
        left_out=(("Painting: no bench", 2),),
        no_work=1,
        stopped=True,
    )
    monkeypatch.setattr(desks, "look_ahead", lambda *_: outlook)
    asked(client, arrives=today)
    text = text_of(client, PROMISE)
    for words in (
        "no plan was found",
        "1 piece late, or later",
        "L-1",
        f"Frame {span(late)}",
        "an extra shift: it ends 2 h sooner",
        "2 × Painting: no bench",
        "1 piece would need no work here",
        "1 piece would start after the hour",
        "stopped early",
    ):
        assert words in text


def test_without_a_plan_or_a_piece_it_still_answers_and_says_so(
    client: TestClient, here: Installation, today: str
) -> None:
    assert "No facility is described yet" in text_of(client, PROMISE)
    furnish(here)
    found = asked(client, arrives=today, count=["1", ""])
    assert (found.here, found.has_plan) == (0, False)
    assert "No plan is in use" in text_of(client, PROMISE)


def test_what_cannot_be_planned_is_named_with_the_reason(
    client: TestClient, here: Installation, today: str
) -> None:
    furnish(here)
    client.post(PROMISE, data=guess_form(arrives=today, size=["very_large", ""]))
    wait_for(desk_of(client))
    state = desk_of(client).state()
    told = state.failed or str(state.ready and state.ready.left_out)
    assert "mm" in told  # it does not pass the door of any chamber, and by how much


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"count": ["", ""]}, "count-0", "How many: give the number of pieces"),
        ({"count": ["two", ""]}, "count-0", "Row 1, how many: write a whole number"),
        ({"count": ["0", ""]}, "count-0", "Row 1, how many: write a whole number"),
        ({"count": [str(MOST_PIECES), "1"]}, "count-0", "pieces at most in one look"),
        ({"material": ["cheese", ""]}, "material-0", "Row 1, material: choose one"),
        ({"damage": ["", ""]}, "damage-0", "Row 1, damage: choose one"),
        ({"also": ["cheese", ""]}, "also-0", "Row 1, and also: choose one"),
        ({"size": ["", ""]}, "size-0", "Row 1, size: choose one"),
        ({"count": ["2", "3"]}, "object_type-1", "Row 2, kind: choose one"),
        ({"arrives": "soon"}, "arrives", "Arrives: write a day such as"),
        ({"arrives": "2001-01-01"}, "arrives", "Arrives: this day is past"),
        ({"happened": "2999-01-01"}, "happened", "Happened: this day is to come"),
        ({"seconds": "9"}, "seconds", "Seconds: choose one"),
    ],
)
def test_bad_input_names_field_and_mend_and_keeps_what_was_typed(
    client: TestClient, here: Installation, changed: dict[str, Any], field: str, words: str
) -> None:
    furnish(here)
    sent = guess_form(**changed)
    if changed.get("count", [""])[0] == str(MOST_PIECES):
        sent |= {
            name: [sent[name][0]] * 2 for name in ("object_type", "material", "damage", "size")
        }
    answer = client.post(PROMISE, data=sent)
    assert answer.status_code == 422
    assert f'href="#{field}"' in answer.text
    assert f'id="{field}-error"' in answer.text
    assert words in answer.text
    assert f'value="{LEAD}"' in answer.text
    for typed in sent["count"]:
        assert re.search(rf'name="count"[^>]*value="{typed}"', answer.text)
    assert desk_of(client).state().working_since is None


def test_rows_are_added_and_kept(client: TestClient, here: Installation) -> None:
    furnish(here)
    answer = client.post(PROMISE, data=guess_form(more="rows"))
    assert answer.status_code == 200
    assert len(re.findall(r'name="count"', answer.text)) == 2 + 4
    assert re.search(r'name="count"[^>]*value="2"', answer.text)


def test_one_look_at_a_time_which_can_be_stopped(
    client: TestClient, here: Installation, used: Draft, today: str
) -> None:
    desk = desk_of(client)
    sent = guess_form(arrives=today, seconds="180", count=["40", ""])
    assert client.post(PROMISE, data=sent).status_code == 303
    assert "data-follow" in client.get(PROMISE).text
    second = client.post(PROMISE, data=guess_form(arrives=today, asked_by="Bo"))
    assert second.status_code == 409
    assert f"Another loss is being looked at already for {LEAD}" in second.text
    assert 'value="Bo"' in second.text
    client.post(f"{PROMISE}/stop")
    wait_for(desk)
    state = desk.state()
    assert (state.ready and state.ready.stopped) or "stopped" in (state.failed or "")
    assert "Nothing is being made now." in client.post(f"{PROMISE}/stop").headers[
        "location"
    ].replace("%20", " ")
    assert '"over": "over"' in client.get(f"{PROMISE}/progress").text


def test_pieces_of_a_guess_are_of_the_size_and_damage_named(clock: Clock) -> None:
    typed = GuessForm(**guess_form(also=["soaked", ""], happened="2020-01-01"))
    read = Reader(DUBLIN, clock.at).guess(typed)
    assert read is not None
    found = pieces_of(read)
    assert [one.tag for one in found] == ["guess-1-001", "guess-1-002"]
    assert {seen.damage for seen in found[0].damages} == {Damage.SMOKE_ODOUR, Damage.SOAKED}
    assert found[0].size is not None
    assert found[0].size.height.value == "30"
    assert read.arrives > clock.at + timedelta(days=1)
