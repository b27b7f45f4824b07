"""The page of a chamber run: where its load is, what it shows, and what its forms refuse."""

import pytest
from starlette.testclient import TestClient

from service.installation import Installation
from shared import events as ev
from shared.vocabulary import Damage, Phase, StepKind
from tests.service.conftest import Clock
from tests.service.facility.house import (
    AIR,
    BOWL,
    FUMIGATOR,
    LEAD,
    VASE,
    bring,
    enter,
    finish,
    furnish,
    open_run,
    say,
    why_refused,
)
from tests.service.facility.test_pages import item, problem_after, run, text_of

PATH = "/facility/runs/run-1"


@pytest.fixture(autouse=True)
def house(here: Installation) -> None:
    furnish(here)
    bring(here, VASE, title="Tall jar")
    bring(here, BOWL, title="Bowl")


def load(client: TestClient, *tags: str) -> None:
    for tag in tags:
        answer = client.post(f"{PATH}/load", data={"scanned": tag, "actor": LEAD})
        assert "problem" not in answer.headers["location"], answer.headers["location"]


# --- where the load is --------------------------------------------------------------------------


def test_a_loaded_piece_is_in_the_chamber_and_one_taken_off_is_in_no_place(
    client: TestClient, here: Installation
) -> None:
    open_run(here, VASE, BOWL, programme=AIR)
    load(client, VASE, BOWL)
    assert item(here, VASE).station == "box"
    assert "2 pieces here" in text_of(client, "/facility/places/box")
    assert "Box chamber (loading) run-1" in text_of(client, f"/facility/find?q={VASE}")
    say(here, ev.RunItemRemoved(run="run-1", tag=VASE, reason="wanted elsewhere"))
    assert (item(here, VASE).station, item(here, VASE).run) == (None, None)
    assert "no place on record" in text_of(client, f"/facility/find?q={VASE}")
    assert "no place on record" in text_of(client, f"/facility/items/{VASE}")
    assert item(here, BOWL).station == "box"


def test_taking_a_piece_off_the_sheet_that_never_went_in_leaves_it_where_it_is(
    here: Installation,
) -> None:
    open_run(here, VASE, BOWL, programme=AIR)
    say(here, ev.RunItemRemoved(run="run-1", tag=VASE, reason="not today"))
    assert item(here, VASE).station == "bench"


def test_loading_into_another_chamber_than_the_runs_is_stopped(here: Installation) -> None:
    open_run(here, VASE, programme=AIR)
    why = why_refused(here, ev.ItemLoaded(run="run-1", tag=VASE, station="spare"))
    assert why == "STOP: wrong chamber for this run. Keep the piece out and ask the lead."


def cleared(client: TestClient, here: Installation, *tags: str) -> None:
    """A run without gas, brought to the open door."""
    open_run(here, *tags, programme=AIR)
    load(client, *tags)
    enter(here, Phase.SEALED, Phase.HOLDING, Phase.AIRING)
    assert problem_after(client, f"{PATH}/unseal", actor=FUMIGATOR) is None


@pytest.mark.parametrize("counts", ["yes", "no"])
def test_unloading_says_where_the_load_goes_and_whether_it_is_treated(
    client: TestClient, here: Installation, clock: Clock, counts: str
) -> None:
    cleared(client, here, VASE, BOWL)
    why = why_refused(here, ev.PhaseEntered(run="run-1", phase=Phase.UNLOADED, at=here.now()))
    assert why == "phase: 2 pieces still stand in the chamber; say where the load goes"
    clock.forward(minutes=5)
    form = {"station": "airing", "counts": counts, "actor": LEAD}
    assert problem_after(client, f"{PATH}/unload", **form) is None
    assert run(here, "run-1").phase is Phase.UNLOADED
    for tag in (VASE, BOWL):
        piece = item(here, tag)
        assert (piece.station, piece.run, piece.runs) == ("airing", None, ["run-1"])
        assert (StepKind.CHAMBER in piece.steps_done) is (counts == "yes")
    assert "Airing room" in text_of(client, f"/facility/find?q={VASE}")


def test_a_piece_moved_out_one_by_one_is_not_moved_again(
    client: TestClient, here: Installation
) -> None:
    cleared(client, here, VASE, BOWL)
    moved = {"station": "airing", "actor": LEAD}
    assert problem_after(client, f"/facility/items/{VASE}/move", **moved) is None
    assert "Airing room" in text_of(client, f"/facility/find?q={VASE}")
    why = why_refused(here, ev.PhaseEntered(run="run-1", phase=Phase.UNLOADED, at=here.now()))
    assert why == "phase: one piece still stands in the chamber; say where the load goes"
    form = {"station": "bench", "counts": "yes", "actor": LEAD}
    assert problem_after(client, f"{PATH}/unload", **form) is None
    assert (item(here, VASE).station, item(here, BOWL).station) == ("airing", "bench")


@pytest.mark.parametrize(
    ("change", "mend"),
    [
        ({"counts": "perhaps"}, "counts: say whether"),
        ({"station": "nowhere"}, "There is no place nowhere"),
        ({"station": "spare"}, "is a chamber"),
        ({"actor": " "}, "Your name"),
    ],
)
def test_an_unloading_that_does_not_fit_changes_nothing(
    client: TestClient, here: Installation, change: dict[str, str], mend: str
) -> None:
    cleared(client, here, VASE)
    form = {"station": "airing", "counts": "yes", "actor": LEAD} | change
    assert mend in (problem_after(client, f"{PATH}/unload", **form) or "")
    assert run(here, "run-1").phase is Phase.CLEARED
    assert item(here, VASE).station == "box"


def test_a_run_is_not_unloaded_before_it_is_cleared(client: TestClient, here: Installation) -> None:
    open_run(here, VASE, programme=AIR)
    load(client, VASE)
    enter(here, Phase.SEALED, Phase.HOLDING)
    form = {"station": "airing", "counts": "yes", "actor": LEAD}
    assert "shut in a chamber" in (problem_after(client, f"{PATH}/unload", **form) or "")
    assert item(here, VASE).station == "box"


def test_a_wet_piece_is_still_stopped_at_the_door(client: TestClient, here: Installation) -> None:
    say(here, ev.DamageNoted(tag=VASE, damage=Damage.SOAKED))
    open_run(here, VASE, programme=AIR)
    answer = client.post(f"{PATH}/load", data={"scanned": VASE, "actor": LEAD})
    assert "dry%20it%20first" in answer.headers["location"]
    assert item(here, VASE).station == "bench"
    finish(here, VASE, StepKind.STABILISE, StepKind.DRY)
    load(client, VASE)
    assert item(here, VASE).station == "box"
