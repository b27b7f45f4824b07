"""Receiving, finding and moving: what is missing stays listed, and a place is judged first."""

from datetime import timedelta
from io import BytesIO

import pytest
from pypdf import PdfReader
from starlette.testclient import TestClient

from labels.codes import TagError, parse_station, station_url
from service.installation import Installation
from shared import events as ev
from shared.facility import Facility
from shared.vocabulary import Damage, Material, Phase, StepKind
from tests.service.conftest import Clock
from tests.service.facility.house import (
    AIR,
    BOWL,
    CANVAS,
    FACILITY,
    PANE,
    PLATE,
    VASE,
    bring,
    finish,
    furnish,
    open_run,
    say,
)
from tests.service.facility.test_pages import item, problem_after, text_of

QUARANTINED = FACILITY.model_copy(
    update={
        "stations": (
            *FACILITY.stations,
            FACILITY.station("airing").model_copy(
                update={"id": "apart", "label": "Room apart", "quarantine": True}
            ),
        )
    }
)
SMALL = FACILITY.model_copy(
    update={
        "stations": tuple(
            one.model_copy(update={"rack_mm": 400}) if one.id == "dry" else one
            for one in FACILITY.stations
        )
    }
)
PATH = "/facility/receive/M-1"


def list_of(here: Installation, *tags: str) -> None:
    say(
        here,
        ev.ManifestClosed(
            manifest="M-1",
            vehicle="Van 1",
            tags=tags,
            leaves_at=here.now(),
            expected_at=here.now() + timedelta(hours=1),
        ),
    )


def receive(client: TestClient, tag: str, **form: str) -> str | None:
    return problem_after(client, PATH, scanned=tag, actor="Ada", **form)


@pytest.fixture
def house(request: pytest.FixtureRequest, here: Installation) -> Installation:
    facility: Facility = getattr(request, "param", QUARANTINED)
    furnish(here, facility)
    bring(here, VASE)
    bring(here, BOWL, Damage.MOULD_VISIBLE)
    bring(here, PANE, Damage.SOAKED, materials=(Material.OIL_CANVAS,))
    list_of(here, VASE, BOWL, PANE)
    return here


def test_missing_pieces_stay_listed_until_somebody_is_told(
    client: TestClient, house: Installation
) -> None:
    receive(client, VASE, station="bench")
    page = text_of(client, PATH)
    assert "Missing (2)" in page
    assert "Closed" not in page
    assert problem_after(client, f"{PATH}/told", told=" ", actor="Ada") is not None
    client.post(f"{PATH}/told", data={"told": "Vera Driver", "actor": "Ada"})
    page = text_of(client, PATH)
    assert "Vera Driver was told of 2 pieces" in page
    assert "Missing (2)" in page
    assert "2 missing; somebody was told of each." in page
    assert "Closed, 2 missing and told" in text_of(client, "/facility/receive")


def test_surplus_says_what_is_known_and_harm_on_the_way_is_kept(
    client: TestClient, house: Installation
) -> None:
    bring(house, PLATE)
    receive(client, PLATE, station="bench", damaged="yes", condition="corner crushed")
    receive(client, CANVAS, station="apart")
    page = text_of(client, PATH)
    assert "Of this loss, on no list." in page
    assert "Unknown tag" in page
    assert "Damaged on the way (1)" in page
    assert "corner crushed" in page
    assert item(house, PLATE).damaged_in_transit is True


def test_mould_goes_to_quarantine_unless_somebody_says_why(
    client: TestClient, house: Installation
) -> None:
    client.post(PATH, data={"scanned": BOWL, "station": "dry", "actor": "Ada"})
    assert item(house, BOWL).station == "bench", "nothing was recorded"
    answer = client.post(PATH, data={"scanned": BOWL, "actor": "Ada"})
    assert f"done={BOWL}" in answer.headers["location"]
    assert item(house, BOWL).station == "apart"
    client.post(
        PATH, data={"scanned": BOWL, "station": "dry", "actor": "Ada", "reason": "Con said so"}
    )
    assert (item(house, BOWL).station, item(house, BOWL).placed_because) == ("dry", "Con said so")


@pytest.mark.parametrize("house", [SMALL], indirect=True)
def test_a_full_place_takes_no_more_without_a_reason(
    client: TestClient, house: Installation
) -> None:
    move = f"/facility/items/{VASE}/move"
    assert problem_after(client, move, station="dry", actor="Ada") is None
    why = problem_after(client, f"/facility/items/{PANE}/move", station="dry", actor="Ada")
    assert why is not None
    assert "Drying room has no room for it" in why
    form = {"station": "dry", "actor": "Ada", "reason": "Ada: overnight only"}
    assert problem_after(client, f"/facility/items/{PANE}/move", **form) is None


def test_two_scans_move_several_pieces_or_say_why_not(
    client: TestClient, house: Installation, clock: Clock
) -> None:
    first = client.post("/facility/move", data={"scanned": VASE, "actor": "Ada"})
    tags = first.headers["location"].partition("tags=")[2].partition("&")[0]
    client.post(
        "/facility/move",
        data={"scanned": "HTTPS://TAGS.EXAMPLE/S/AIRING", "actor": "Ada", "tags": tags},
    )
    assert item(house, VASE).station == "airing"
    wet = client.post("/facility/move", data={"scanned": "box", "actor": "Ada", "tags": PANE})
    assert "wet" in wet.headers["location"]
    say(
        house,
        ev.StationClosed(
            station="dry",
            starts_at=house.now(),
            ends_at=clock.at + timedelta(days=1),
            reason="no fan",
        ),
    )
    shut = client.post("/facility/move", data={"scanned": "dry", "actor": "Ada", "tags": PANE})
    assert "out+of+use" in shut.headers["location"]
    assert item(house, PANE).station == "bench"


def test_a_piece_in_a_shut_chamber_stays_there(client: TestClient, house: Installation) -> None:
    open_run(house, VASE, programme=AIR)
    say(house, ev.ItemLoaded(run="run-1", tag=VASE))
    say(house, ev.PhaseEntered(run="run-1", phase=Phase.SEALED, at=house.now()))
    form = {"station": "airing", "actor": "Ada", "reason": "in a hurry"}
    why = problem_after(client, f"/facility/items/{VASE}/move", **form)
    assert why is not None
    assert "shut in a chamber" in why
    assert "Box chamber (sealed) run-1" in text_of(client, f"/facility/find?q={VASE}")


def test_whatever_a_phone_says_a_loaded_piece_is_moved_only_off_the_sheet(
    client: TestClient, house: Installation
) -> None:
    open_run(house, VASE, PANE, programme=AIR)
    say(house, ev.ItemLoaded(run="run-1", tag=VASE))
    move = f"/facility/items/{VASE}/move"
    form = {"station": "airing", "actor": "Ada", "reason": "in a hurry"}
    assert "Take it off that run's sheet first" in (problem_after(client, move, **form) or "")
    say(house, ev.ItemMoved(tag=VASE, station="bench"))
    assert "Take it off that run's sheet first" in (problem_after(client, move, **form) or "")
    say(house, ev.RunItemRemoved(run="run-1", tag=VASE, reason="another day"))
    assert problem_after(client, move, **form) is None
    assert item(house, VASE).station == "airing"


def test_a_piece_is_found_by_tag_old_tag_torn_tag_title_and_container(
    client: TestClient, house: Installation
) -> None:
    say(house, ev.TagReplaced(tag=VASE, new_tag=PLATE, reason="torn"))
    say(house, ev.ItemPacked(tag=VASE, container="CRATE-7"))
    title = item(house, VASE).title
    for words in (VASE, PLATE, VASE[:9], PLATE[-6:], title, "crate-7"):
        page = text_of(client, f"/facility/find?q={words}")
        assert title in page, words
        assert "Bench" in page, words
    assert "Nothing fits" in text_of(client, "/facility/find?q=nowhere")
    assert client.get("/facility/find?q=cold").headers["location"] == "/facility/places/cold"


def test_every_place_has_a_sign_that_leads_to_what_stands_there(
    client: TestClient, house: Installation
) -> None:
    paper = PdfReader(BytesIO(client.get("/facility/places/signs.pdf").content))
    printed = " ".join(page.extract_text() for page in paper.pages)
    assert all(one.label in printed for one in QUARANTINED.stations)
    assert client.get("/S/BENCH").headers["location"] == "/facility/places/bench"
    assert item(house, VASE).title in text_of(client, "/facility/places/bench")
    assert "Quarantine" in text_of(client, "/facility/places")
    assert client.get("/facility/places/nowhere").status_code == 404


def test_a_sign_is_written_in_capitals_and_read_back() -> None:
    address = station_url("https://tags.example", "room-2")
    assert address == "HTTPS://TAGS.EXAMPLE/S/ROOM-2"
    assert parse_station(address) == "room-2"
    with pytest.raises(TagError, match="station"):
        station_url("https://tags.example", "room_2")


def test_dry_next_means_a_drying_room(client: TestClient, house: Installation) -> None:
    finish(house, PANE, StepKind.STABILISE)
    client.post(PATH, data={"scanned": PANE, "actor": "Ada"})
    assert item(house, PANE).station == "dry"
