"""The office's pages show what is on record, and forms lose nothing that was typed."""

import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from labels.codes import parse_tag
from service.installation import Installation
from service.log import reading
from service.log.custody import verify_bundle
from service.log.reading import EVERYTHING
from shared import events as ev
from shared.records import Loss
from tests.labels.pdf_reading import page_images, qr_texts, text_of
from tests.service.conftest import Clock
from tests.service.office.seeding import ADA, Seeded, disagree, seed
from tests.writers import LOSS, TAGS, Writer, noted, opened, plain, tagged


@pytest.fixture
def pieces(here: Installation) -> Seeded:
    return seed(here)


def loss_of(here: Installation, loss_id: str = LOSS) -> Loss:
    with here.database.read() as session:
        found = reading.loss(session, EVERYTHING, loss_id)
    assert found is not None
    return found


CALL = {
    "reference": "2031-017",
    "title": "Flood at the Sluice House",
    "site": "3 Ferry Bank (invented)",
    "zone": "Europe/London",
    "peril": "flood",
    "happened_at": "2031-05-06T04:30",
    "wet_since": "2031-05-06T05:00",
    "water_category": "3",
    "mean_temperature_c": "18.5",
    "hazards": ["standing_water", "electricity"],
    "actor": "Nia Frost",
}


@pytest.mark.parametrize("path", ["/", "/office/", "/office/losses/new", "/office/conflicts"])
def test_pages_of_an_empty_installation(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 200
    assert "<h1>" in answer.text


def test_the_start_page_has_four_doors_and_says_who_decides(
    client: TestClient, pieces: Seeded
) -> None:
    text = client.get("/").text
    for door in ("/crew/", "/facility/", "/adjuster/", "/office/"):
        assert f'class="card" href="{door}"' in text
    assert "Whoever controls the site decides" in text


def test_every_page_of_a_loss(client: TestClient, pieces: Seeded) -> None:
    listed = client.get("/office/").text
    assert f'href="/office/losses/{LOSS}"' in listed
    assert "Invented quay house" in listed

    text = client.get(f"/office/losses/{LOSS}").text
    for words in ("Ada Quill", "Made-up Marine", "VAN-1", "Standing water", "has cut the power"):
        assert words in text
    assert client.get("/office/losses/NONE").status_code == 404


def test_a_call_becomes_a_loss(client: TestClient, here: Installation) -> None:
    answer = client.post("/office/losses/new", data=CALL)
    assert (answer.status_code, answer.headers["location"]) == (303, "/office/losses/2031-017")
    loss = loss_of(here, "2031-017")
    assert loss.happened_at is not None
    # British Summer Time is one hour ahead of UTC in May.
    assert loss.happened_at.isoformat() == "2031-05-06T03:30:00+00:00"
    assert [hazard.value for hazard in loss.hazards] == ["standing_water", "electricity"]
    assert loss.mean_temperature_c == "18.5"


@pytest.mark.parametrize(
    "wrong",
    [
        ("reference", "no spaces, please", "no spaces"),
        ("reference", LOSS.lower(), "another loss has it"),
        ("title", " ", "give the loss a short name"),
        ("title", "x" * 301, "at most 300 characters"),
        ("zone", "Mars/Olympus", "choose the zone"),
        ("peril", "", "choose one"),
        ("happened_at", "yesterday", "write a date and a time"),
        ("happened_at", "2031-06-06T04:30", "lies in the future"),
        ("happened_at", "2031-03-30T01:30", "the clocks went forward"),
        ("wet_since", "2031-06-01T00:00", "lies in the future"),
        ("mean_temperature_c", "65", "from -40 to 60"),
        ("actor", "", "say who you are"),
    ],
)
def test_a_fault_stands_beside_its_field_and_nothing_typed_is_lost(
    client: TestClient, here: Installation, pieces: Seeded, wrong: tuple[str, str, str]
) -> None:
    field, typed, mend = wrong
    answer = client.post("/office/losses/new", data=CALL | {field: typed})
    assert answer.status_code == 422
    error = re.search(rf'id="{field}-error">(.*?)</p>', answer.text, re.DOTALL)
    assert error is not None
    assert mend in error[1]
    assert f'href="#{field}"' in answer.text
    kept = {name: value for name, value in CALL.items() if name != field}
    for name in ("title", "reference", "actor"):
        if name in kept:
            assert f'value="{kept[name]}"' in answer.text
    assert "3 Ferry Bank (invented)</textarea>" in answer.text
    assert 'value="electricity" checked' in answer.text
    with here.database.read() as session:
        assert [loss.loss for loss in reading.losses(session, EVERYTHING)] == [LOSS]


def test_a_claim_is_added_once(client: TestClient, here: Installation, pieces: Seeded) -> None:
    path = f"/office/losses/{LOSS}/claims/new"
    claim = {
        "claim": "C-3",
        "insurer": "Invented Mutual",
        "owner": "Cy Holt",
        "currency": "usd",
        "actor": "Nia",
    }
    assert client.get(path).status_code == 200
    assert client.post(path, data=claim).status_code == 303
    assert loss_of(here).claims[-1].currency == "USD"

    again = client.post(path, data=claim | {"currency": "quid", "claim": ADA.lower()})
    assert again.status_code == 422
    assert "has a claim of this number already" in again.text
    assert "code of three letters" in again.text
    assert 'value="Cy Holt"' in again.text


def test_a_number_taken_by_another_loss_is_refused(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    client.post("/office/losses/new", data=CALL)
    claim = {"claim": ADA, "insurer": "I", "owner": "O", "currency": "GBP", "actor": "Nia"}
    answer = client.post("/office/losses/2031-017/claims/new", data=claim)
    assert answer.status_code == 422
    assert f"loss {LOSS} has a claim of this number already" in answer.text


def test_an_authorisation_with_its_document(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    path = f"/office/losses/{LOSS}/authorisations/new"
    typed = {"given_by": "Ben Reed", "covers": "Drying only", "actor": "Nia"}
    refused = client.post(path, data=typed | {"covers": ""}, files={"document": ("a.pdf", b"%PDF")})
    assert refused.status_code == 422
    assert 'value="Ben Reed"' in refused.text

    answer = client.post(path, data=typed, files={"document": ("signed.pdf", b"%PDF-1.7 invented")})
    assert answer.status_code == 303
    recorded = loss_of(here).authorisations[-1]
    sent = client.get(f"/office/losses/{LOSS}/documents/{recorded.document}")
    assert sent.content == b"%PDF-1.7 invented"
    assert sent.headers["content-disposition"].startswith("attachment")
    assert client.get(f"/office/losses/{LOSS}/documents/{pieces.photo}").status_code == 404


def test_an_authorisation_without_a_document(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    path = f"/office/losses/{LOSS}/authorisations/new"
    typed = {"given_by": "Ben Reed", "covers": "Drying only", "actor": "Nia"}
    answer = client.post(path, data=typed, files={"document": ("", b"")})
    assert answer.status_code == 303
    assert loss_of(here).authorisations[-1].document is None


def test_a_hazard_shows_its_cautions(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    path = f"/office/losses/{LOSS}/hazards/new"
    assert client.post(path, data={"hazard": "dragons", "actor": "Nia"}).status_code == 422
    assert client.post(path, data={"hazard": "asbestos", "actor": "Nia"}).status_code == 303
    text = client.get(f"/office/losses/{LOSS}").text
    assert "Asbestos suspected" in text
    assert "sampled by a licensed person" in text


def test_tags_come_as_a_pdf_of_sound_tags(client: TestClient) -> None:
    answer = client.post("/office/tags", data={"count": "5", "layout": "roll-62x100"})
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
    read = [text for image in page_images(answer.content) for text in qr_texts(image)]
    assert len({parse_tag(text) for text in read}) == 5


@pytest.mark.parametrize(
    ("count", "layout", "mend"),
    [
        ("0", "a4-3x8", "whole number from 1"),
        ("many", "a4-3x8", "whole number from 1"),
        ("999999999", "a4-3x8", "whole number from 1"),
        ("5", "papyrus", "no layout"),
    ],
)
def test_tags_asked_for_wrongly(client: TestClient, count: str, layout: str, mend: str) -> None:
    answer = client.post("/office/tags", data={"count": count, "layout": layout})
    assert answer.status_code == 422
    assert mend in answer.text
    assert f'value="{count}"' in answer.text


@pytest.mark.parametrize(
    ("form", "starts"), [("pdf", b"%PDF"), ("xlsx", b"PK"), ("csv", b'"'), ("json", b"{")]
)
def test_inventories_to_download(
    client: TestClient, pieces: Seeded, form: str, starts: bytes
) -> None:
    answer = client.get(f"/office/losses/{LOSS}/inventory.{form}")
    assert answer.status_code == 200
    assert answer.content.startswith(starts)
    assert f'filename="inventory-{LOSS}.{form}"' in answer.headers["content-disposition"]
    assert client.get(f"/office/losses/NONE/inventory.{form}").status_code == 404


def test_the_custody_bundle_verifies(
    client: TestClient, here: Installation, pieces: Seeded, tmp_path: Path
) -> None:
    bundle = tmp_path / "custody.zip"
    bundle.write_bytes(client.get(f"/office/losses/{LOSS}/custody.zip").content)
    assert verify_bundle(bundle, here.log.signer.verifier.text).intact


def test_a_manifest_to_print(client: TestClient, pieces: Seeded) -> None:
    answer = client.get("/office/manifests/VAN-1.pdf")
    assert answer.status_code == 200
    text = text_of(answer.content)
    assert "Harbour at low tide" in text
    assert "Secret of the weir" in text
    assert client.get("/office/manifests/NONE.pdf").status_code == 404


def test_a_conflict_is_settled_by_a_person(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    disagree(here, pieces.painting)
    listed = client.get("/office/conflicts").text
    path = f"/office/conflicts/{pieces.painting}/title"
    assert path in listed
    text = client.get(path).text
    assert "Harbour at low tide" in text
    assert "Boats at rest" in text
    seen = re.findall(r'name="seen" value="([^"]+)"', text)
    mine = re.search(r'value="([^"]+)"[^>]*><span>Harbour at low tide', text)
    assert mine is not None

    for typed in ({"actor": "Nia"}, {"chosen": mine[1], "actor": ""}):
        wrong = client.post(path, data={"seen": seen} | typed)
        assert wrong.status_code == 422
        assert "field__error" in wrong.text
    done = client.post(path, data={"seen": seen, "chosen": mine[1], "actor": "Nia"})
    assert done.status_code == 303
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, pieces.painting)
    assert item is not None
    assert (item.title, item.conflicts) == ("Harbour at low tide", [])
    assert client.get(path).status_code == 404
    assert path not in client.get("/office/conflicts").text


def test_a_value_that_nobody_saw_is_not_overwritten(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    disagree(here, pieces.painting)
    path = f"/office/conflicts/{pieces.painting}/title"
    seen = re.findall(r'name="seen" value="([^"]+)"', client.get(path).text)
    late = Writer("phone-c")
    late.journal.saw(900)
    described = plain(late.say(ev.ItemDescribed(tag=pieces.painting, title="The third title")))
    here.log.append(described)
    client.post(path, data={"seen": seen, "chosen": seen[0], "actor": "Nia"})
    text = client.get(path).text
    assert "The third title" in text


def test_a_tag_tied_twice_is_listed_and_not_settled_by_choice(
    client: TestClient, here: Installation
) -> None:
    one, other = Writer("phone-a"), Writer("phone-b")
    here.log.append(plain(one.say(opened()), one.say(tagged()), other.say(tagged())))
    text = client.get("/office/conflicts").text
    assert "Tags tied to two pieces" in text
    assert "phone-b" in text
    assert client.get(f"/office/conflicts/{TAGS[0]}/tag").status_code == 404


def test_refused_events_are_listed_with_the_reason(
    client: TestClient, here: Installation, clock: Clock
) -> None:
    writer = Writer()
    first = writer.say(opened())
    clash = first.model_copy(update={"body": {**first.body, "title": "<b>other</b>"}})
    here.log.append(plain(first, writer.say(noted())))
    here.log.append([clash.model_dump(mode="json"), "not an event", {"id": "x", "body": 5}])
    text = client.get("/office/refused").text
    assert "another event is stored under this id" in text
    assert "Loss opened" in text
    assert "&lt;b&gt;other&lt;/b&gt;" in text
    assert "<b>other</b>" not in text
