"""What the phone asks while it has a network."""

import re
from base64 import b64encode
from datetime import timedelta
from hashlib import sha256
from io import BytesIO
from itertools import permutations

import pytest
from PIL import Image
from starlette.testclient import TestClient

from labels.codes import list_url
from service.installation import Installation
from service.log import reading
from shared import events as ev
from shared.facts import facts
from shared.vocabulary import Damage, Hazard, Material, PartRole, WaterCategory
from tests.service.facility.house import FACILITY, furnish
from tests.writers import LOSS, START, Writer, noted, opened, plain, tagged

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


def test_the_worker_names_the_page_as_it_is_drawn(client: TestClient) -> None:
    answer = client.get("/crew/worker.js")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    digest = b64encode(sha256(client.get("/crew/").content).digest()).decode()
    assert f'PAGE_INTEGRITY = "sha256-{digest}"' in answer.text


def test_the_worker_of_scanned_tags_may_have_their_scopes(client: TestClient) -> None:
    answer = client.get("/crew/tag-worker.js")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    assert answer.headers["service-worker-allowed"] == "/"
    # The worker that keeps the page stays within the page's own scope.
    assert "service-worker-allowed" not in client.get("/crew/worker.js").headers


def test_the_worker_lists_every_file_of_the_page_with_its_type_and_digest(
    client: TestClient,
) -> None:
    kept = {
        path: (media_type, digest)
        for path, media_type, digest in re.findall(
            r'path:"([^"]+)",type:"([^"]+)",integrity:"sha256-([^"]+)"',
            client.get("/crew/worker.js").text,
        )
    }
    drawn = client.get("/crew/").text
    named = set(re.findall(r'(?:src|href|data-decoder)="(/[^"#]*)', drawn))
    places = {"/", "/crew/", "/facility/", "/adjuster/", "/office/"}
    assert named - places <= set(kept)
    assert any(path.endswith(".wasm") for path in kept)
    for path, (media_type, digest) in kept.items():
        answer = client.get(path)
        assert answer.headers["content-type"].split(";")[0] in {
            media_type,
            media_type.replace("text/javascript", "application/javascript"),
        }
        assert b64encode(sha256(answer.content).digest()).decode() == digest


# W3C Web Application Manifest: members and their meaning; 192 and 512 px icons, one of them
# maskable, are common practice, no source.
def test_the_page_can_be_put_on_the_home_screen(client: TestClient) -> None:
    answer = client.get("/crew/app.webmanifest")
    assert answer.headers["content-type"].startswith("application/manifest+json")
    app = answer.json()
    assert app["start_url"].startswith(app["scope"])
    assert client.get(app["start_url"]).status_code == 200
    assert app["display"] == "standalone"
    assert {(one["sizes"], one["purpose"]) for one in app["icons"]} == {
        (size, purpose) for size in ("192x192", "512x512") for purpose in ("any", "maskable")
    }
    for icon in app["icons"]:
        picture = Image.open(BytesIO(client.get(icon["src"]).content))
        assert picture.format == "PNG"
        assert f"{picture.width}x{picture.height}" == icon["sizes"]
        # A maskable icon is cut by the phone, so that it must be filled to its corners.
        corner = picture.convert("RGBA").getpixel((0, 0))
        assert isinstance(corner, tuple)
        assert corner[3] == (255 if icon["purpose"] == "maskable" else 0)


def test_losses_say_whether_anybody_may_take_pieces_away(
    client: TestClient, here: Installation, told: Writer
) -> None:
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
    here.log.append(plain(leave))
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


MANIFEST = "phone-a-7"


def _on_the_road(sender: Writer) -> list[object]:
    """A painting and its frame go onto one truck."""
    return plain(
        sender.say(
            ev.ManifestClosed(
                manifest=MANIFEST,
                vehicle="the blue van",
                tags=(TAG, FRAME),
                leaves_at=START,
                expected_at=START + timedelta(hours=2),
            )
        ),
        sender.say(ev.HandedOver(manifest=MANIFEST, given_by="crew", taken_by="driver")),
    )


def _taken_in(manifest: str | None) -> list[object]:
    """Another phone, without a network, takes in the painting and a piece on no list."""
    receiver = Writer("phone-b")
    return plain(
        *(
            receiver.say(ev.ItemReceived(tag=tag, manifest=manifest, station="intake"))
            for tag in (TAG, TORN)
        )
    )


def test_a_receiving_phone_learns_what_is_on_the_road_and_from_whom(
    client: TestClient, here: Installation, told: Writer
) -> None:
    furnish(here, FACILITY)
    here.log.append([*_on_the_road(told), *_taken_in(MANIFEST)])
    found = client.get(f"/api/losses/{LOSS}/manifests").json()
    (load,) = found["manifests"]
    assert (load["manifest"], load["vehicle"]) == (MANIFEST, "the blue van")
    assert (load["tags"], load["received"]) == ([TAG, FRAME], [TAG, TORN])
    assert [(one["given_by"], one["taken_by"]) for one in load["handovers"]] == [("crew", "driver")]
    assert [(one["tag"], one["object_type"]) for one in found["pieces"]] == [
        (TAG, "painting"),
        (FRAME, "painting"),
    ]
    assert [one["id"] for one in found["stations"]] == [one.id for one in FACILITY.stations]


@pytest.mark.parametrize("list_first", [True, False])
@pytest.mark.parametrize("named", [True, False])
def test_receipts_count_for_their_list_whichever_reaches_the_service_first(
    client: TestClient, here: Installation, told: Writer, list_first: bool, named: bool
) -> None:
    batches = [_on_the_road(told), _taken_in(MANIFEST if named else None)]
    for batch in batches if list_first else reversed(batches):
        here.log.append(batch)
    (load,) = client.get(f"/api/losses/{LOSS}/manifests").json()["manifests"]
    # A piece that nobody listed, received on no list, is nobody's surplus.
    assert load["received"] == ([TAG, TORN] if named else [TAG])
    with here.database.read() as session:
        manifest = reading.manifest(session, reading.EVERYTHING, MANIFEST)
    assert manifest is not None
    assert (manifest.missing, manifest.surplus) == ([FRAME], [TORN] if named else [])


def test_a_piece_received_and_then_listed_by_one_device_sets_out_again(
    client: TestClient, here: Installation, told: Writer
) -> None:
    received = told.say(ev.ItemReceived(tag=TAG, station="intake"))
    here.log.append([*plain(received), *_on_the_road(told)])
    (load,) = client.get(f"/api/losses/{LOSS}/manifests").json()["manifests"]
    assert load["received"] == []


def test_a_receipt_on_another_list_leaves_this_one_short(
    client: TestClient, here: Installation, told: Writer
) -> None:
    here.log.append([*_on_the_road(told), *_taken_in("phone-c-1")])
    (load,) = client.get(f"/api/losses/{LOSS}/manifests").json()["manifests"]
    assert load["received"] == []


NEW_TAG = "0000000000018"


@pytest.mark.parametrize("order", list(permutations(range(3))))
@pytest.mark.parametrize("named", [True, False])
def test_a_piece_given_a_new_tag_on_the_way_has_come_and_is_not_missing(
    client: TestClient,
    here: Installation,
    told: Writer,
    named: bool,
    order: tuple[int, ...],
) -> None:
    receiver = Writer("phone-b")
    received = [
        receiver.say(
            ev.ItemReceived(tag=tag, manifest=MANIFEST if named else None, station="intake")
        )
        for tag in (NEW_TAG, FRAME)
    ]
    retagger = Writer("phone-c")
    replaced = retagger.say(ev.TagReplaced(tag=TAG, new_tag=NEW_TAG, reason="torn"))
    batches = [_on_the_road(told), plain(*received), plain(replaced)]
    for place in order:
        here.log.append(batches[place])
    found = client.get(f"/api/losses/{LOSS}/manifests").json()
    (load,) = found["manifests"]
    assert (load["tags"], sorted(load["received"])) == ([TAG, FRAME], sorted([TAG, FRAME]))
    assert found["first_tags"] == {NEW_TAG: TAG}
    with here.database.read() as session:
        manifest = reading.manifest(session, reading.EVERYTHING, MANIFEST)
    assert manifest is not None
    assert (manifest.missing, manifest.surplus) == ([], [])
    shown = client.get(f"/facility/receive/{MANIFEST}").text
    assert "Missing (" not in shown
    assert "Surplus: not on the list (" not in shown
    assert NEW_TAG[-5:-1] in shown


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/losses/NOWHERE", 404),
        ("/api/losses/NOWHERE/manifests", 404),
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


def test_a_replaced_tag_leads_to_the_same_piece(
    client: TestClient, here: Installation, told: Writer
) -> None:
    replaced = told.say(ev.TagReplaced(tag=TAG, new_tag=TORN, reason="torn"))
    here.log.append(plain(replaced))
    assert client.get(f"/T/{TORN}").headers["location"] == f"/facility/items/{TAG}"


@pytest.mark.parametrize("text", ["%22%3E%3Cscript%3E", "https:evil.example", "%0d%0aX: y"])
def test_what_is_no_tag_leads_nowhere_else(client: TestClient, text: str) -> None:
    answer = client.get(f"/T/{text}")
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/crew/#tag=")
    assert "x" not in answer.headers


def test_the_code_of_a_list_leads_to_receiving_it_letter_for_letter(client: TestClient) -> None:
    for name in ("PHONE-0A1B-7", "phone_0a1b.7"):
        path = list_url("https://tags.example", "quay-1", name).removeprefix("HTTPS://TAGS.EXAMPLE")
        answer = client.get(path, follow_redirects=False)
        assert answer.status_code == 303
        assert answer.headers["location"] == f"/crew/#/quay-1/receive/{name}"
    assert client.get("/M/QUAY-1/A%20B", follow_redirects=False).status_code == 422
