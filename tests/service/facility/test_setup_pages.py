"""The set-up page: what is there, and the file out and in."""

from starlette.testclient import TestClient

from service.facility.setup_file import read_document
from service.installation import Installation
from service.log import reading
from shared import events as ev
from shared.facility import Facility
from tests.service.facility.house import FACILITY, VASE, bring, furnish, say


def on_file(here: Installation) -> Facility | None:
    with here.database.read() as session:
        return reading.facility(session).facility


def sent(client: TestClient, text: str, made_from: str = "", actor: str = "Ada") -> tuple[int, str]:
    answer = client.post(
        "/facility/setup",
        data={"actor": actor, "made_from": made_from},
        files={"file": ("setup.yaml", text.encode(), "application/yaml")},
    )
    return answer.status_code, answer.text


def test_before_anything_is_set_up(client: TestClient) -> None:
    assert "Nothing is set up yet" in client.get("/facility/setup").text
    assert client.get("/facility/setup.yaml").status_code == 404


def test_the_file_goes_out_and_comes_in(client: TestClient, here: Installation) -> None:
    furnish(here)
    text = client.get("/facility/setup.yaml").text
    assert read_document(text.encode()).facility == FACILITY
    status, _ = sent(client, text.replace("label: House of tests", "label: Mill"), FACILITY.digest)
    assert status == 303
    assert (found := on_file(here)) is not None
    assert found.label == "Mill"


def test_a_wrong_value_is_named_with_its_line_and_mended_on_the_page(
    client: TestClient, here: Installation
) -> None:
    furnish(here)
    text = client.get("/facility/setup.yaml").text
    status, page = sent(client, text.replace("usable_fill: 0.5", "usable_fill: 50"))
    assert status == 422
    assert "facility.stations.0.chamber.usable_fill" in page
    assert "usable_fill: 50" in page
    assert on_file(here) == FACILITY
    mended = text.replace("usable_fill: 0.5", "usable_fill: 0.75")
    client.post("/facility/setup", data={"actor": "Ada", "text": mended})
    assert (found := on_file(here)) is not None
    assert found.chambers[0].usable_fill == 0.75


def test_a_stale_file_does_not_write_over_another_persons(
    client: TestClient, here: Installation
) -> None:
    furnish(here)
    text = client.get("/facility/setup.yaml").text
    theirs = FACILITY.model_copy(update={"label": "Theirs"})
    say(here, ev.FacilityDescribed(facility=theirs))
    status, page = sent(client, text.replace("House of tests", "Mine"), FACILITY.digest)
    assert status == 422
    assert "somebody else has changed it" in page
    assert "Theirs" in page
    assert "Mine" in page
    assert on_file(here) == theirs


def test_a_station_that_holds_pieces_stays(client: TestClient, here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    text = client.get("/facility/setup.yaml").text
    assert "1 piece here" in client.get("/facility/setup").text
    status, page = sent(client, text.replace("id: bench", "id: other"), FACILITY.digest)
    assert status == 422
    assert "move them first" in page


def test_a_name_and_a_file_are_asked_for(client: TestClient) -> None:
    assert "Your name" in sent(client, "a: 1", actor="")[1]
    assert "choose the set-up file" in client.post("/facility/setup", data={"actor": "A"}).text
