"""What the phone asks while it has a network."""

import pytest
from starlette.testclient import TestClient

from service.installation import Installation
from shared import events as ev
from shared.facts import facts
from shared.vocabulary import Damage, Hazard, Material, PartRole, Role, WaterCategory
from tests.writers import LOSS, Writer, noted, opened, plain, tagged

TAG, FRAME, TORN = "0000000000001", "000000000002Y", "000000000003W"


@pytest.fixture
def told(here: Installation) -> Writer:
    """A loss with a wet painting and its frame."""
    writer = Writer()
    changes = {"title": "<script>alert(1)</script>", "water_category": WaterCategory.THREE}
    here.log.append(
        plain(
            writer.say(opened().model_copy(update=changes)),
            writer.say(ev.HazardNoted(hazard=Hazard.ELECTRICITY)),
            writer.say(tagged(TAG)),
            writer.say(noted(Damage.SOAKED, TAG)),
            writer.say(
                tagged(FRAME, parent=TAG, role=PartRole.FRAME, materials=(Material.GILDED_GESSO,))
            ),
        )
    )
    return writer


def test_the_crews_page_is_there_before_anything_else(client: TestClient) -> None:
    answer = client.get("/crew/")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")


def test_every_new_device_has_a_name_of_its_own_and_a_clock(
    client: TestClient, told: Writer
) -> None:
    first, second = (client.post("/api/devices") for _ in range(2))
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json()["device"] != second.json()["device"]
    assert first.json()["clock"] == told.journal.clock
    written = ev.Journal(first.json()["device"], "Europe/Dublin").write(
        opened(), actor="somebody", role=Role.CREW, at=told.at, loss="OTHER"
    )
    answer = client.post("/log/events", json={"events": plain(written)})
    assert answer.json()["receipts"][0]["outcome"] == "stored"


def test_losses_say_whether_anybody_may_take_pieces_away(client: TestClient, told: Writer) -> None:
    assert client.get("/api/losses").json() == [
        {
            "loss": LOSS,
            "title": "<script>alert(1)</script>",
            "site": "1 Invented Quay",
            "peril": "fire",
            "hazards": ["electricity"],
            "authorised": False,
        }
    ]
    leave = told.say(ev.AuthorisationRecorded(given_by="the owner", covers="everything"))
    client.post("/log/events", json={"events": plain(leave)})
    assert client.get("/api/losses").json()[0]["authorised"] is True


def test_the_briefing_names_the_cautions_for_what_is_there(
    client: TestClient, told: Writer
) -> None:
    found = client.get(f"/api/losses/{LOSS}").json()
    assert {"Electricity", "Fire", WaterCategory.THREE.label} <= {
        caution["trigger"] for caution in found["cautions"]
    }
    assert all(caution["text"] for caution in found["cautions"])
    assert found["standing"]
    assert found["loss"]["water_category"] == "3"


def test_a_piece_comes_with_its_parts_and_what_to_do_first(
    client: TestClient, told: Writer
) -> None:
    found = client.get(f"/api/items/{TAG}").json()
    assert [part["tag"] for part in found["parts"]] == [FRAME]
    assert found["item"]["materials"] == ["oil_canvas"]
    assert found["band_label"] in {"Now", "Today", "This week", "Can wait"}
    assert found["triage"]["deadline"] is not None
    assert found["triage"]["never"]


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/losses/NOWHERE", 404),
        (f"/api/items/{TORN}", 404),
        ("/api/items/short", 422),
        ("/api/items/ILOU000000000", 422),
        ("/api/losses/a b", 422),
    ],
)
def test_what_is_not_there_is_said_to_be_missing(
    client: TestClient, told: Writer, path: str, status: int
) -> None:
    answer = client.get(path)
    assert answer.status_code == status
    assert answer.json()["detail"]


def test_every_word_has_a_label(client: TestClient) -> None:
    lists = client.get("/api/vocabulary").json()
    assert {"materials", "damages", "hazards", "part_roles"} <= set(lists)
    assert len(lists["materials"]) == len(Material)
    for words in lists.values():
        assert all(word["id"] and word["label"] for word in words)


def test_the_tables_are_the_ones_the_service_rules_by(client: TestClient) -> None:
    assert facts().version in str(client.get("/api/facts").json())


@pytest.mark.parametrize("prefix", ["/T/", "/t/"])
def test_a_scanned_tag_leads_to_its_piece_or_to_tagging(
    client: TestClient, told: Writer, prefix: str
) -> None:
    def target(tag: str) -> tuple[int, str]:
        answer = client.get(f"{prefix}{tag}")
        return answer.status_code, answer.headers["location"]

    assert target(TAG) == (303, f"/facility/items/{TAG}")
    assert target(TAG.lower()) == (303, f"/facility/items/{TAG}")
    assert target(TORN) == (303, f"/crew/#tag={TORN}")


def test_a_replaced_tag_leads_to_the_same_piece(client: TestClient, told: Writer) -> None:
    replaced = told.say(ev.TagReplaced(tag=TAG, new_tag=TORN, reason="torn"))
    client.post("/log/events", json={"events": plain(replaced)})
    assert client.get(f"/T/{TORN}").headers["location"] == f"/facility/items/{TAG}"


@pytest.mark.parametrize("text", ["%22%3E%3Cscript%3E", "https:evil.example", "%0d%0aX: y"])
def test_what_is_no_tag_leads_nowhere_else(client: TestClient, text: str) -> None:
    answer = client.get(f"/T/{text}")
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/crew/#tag=")
    assert "x" not in answer.headers
