"""The adjuster sees every piece of the claim, decides on it, and sees nothing of another claim."""

import json
import re

import pytest
from starlette.testclient import TestClient

from service.adjuster import listing as paging
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from shared import events as ev
from shared.records import Item
from shared.vocabulary import Decision, ObjectType, Role
from tests.service.office.seeding import ADA, BEN, Seeded, disagree, seed
from tests.writers import LOSS, Writer, plain

BASE = f"/adjuster/losses/{LOSS}"
OF_BEN = ("Ben Reed", BEN, "Made-up Marine", "Secret of the weir", "Kit Vane", "333.00", "Study")
DECISION = {"chosen": "authorise", "reason": "Cost is well within value", "decided_by": "Uma Trent"}


@pytest.fixture
def pieces(here: Installation) -> Seeded:
    return seed(here)


def item(here: Installation, tag: str) -> Item:
    with here.database.read() as session:
        found = reading.item(session, EVERYTHING, tag)
    assert found is not None
    return found


def rows(text: str) -> list[str]:
    """The tags that a list offers to tick."""
    return re.findall(r'name="tags" value="(\w+)"', text)


def test_losses_and_the_claim_that_is_looked_for(client: TestClient, pieces: Seeded) -> None:
    assert "Invented quay house" in client.get("/adjuster/").text
    text = client.get("/adjuster/", params={"claim": ADA}).text
    assert "Ada Quill" in text
    assert "Ben Reed" not in text
    assert "No loss has a claim of the number" in client.get("/adjuster/?claim=C-0").text


def test_the_list_shows_every_piece_with_its_money_apart(
    client: TestClient, pieces: Seeded
) -> None:
    text = client.get(BASE).text
    assert set(rows(text)) == {pieces.painting, pieces.frame, pieces.vase, pieces.print}
    assert f'src="/photos/{pieces.photo}?small=1"' in text
    foot = text[text.index("<tfoot>") : text.index("</tfoot>")]
    # 1.5 h at 60.00 and a value of 1200.00 pounds; 2 h at 45.00 and 333.00 euros: never one sum.
    for amount in ("90.00 GBP", "1,200.00 GBP", "90.00 EUR", "333.00 EUR"):
        assert amount in foot
    assert "1,533" not in text


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({"q": "harbour lee"}, {"painting"}),
        ({"q": "soaked"}, {"painting", "print"}),
        ({"q": "nothing like it"}, set()),
        ({"room": "Kitchen"}, {"vase"}),
        ({"claim": BEN}, {"print"}),
        ({"claim": ADA}, {"painting", "frame", "vase"}),
        ({"restorable": "unknown"}, {"frame"}),
        ({"decision": "none", "room": "Kitchen"}, {"vase"}),
        ({"decision": "hold"}, set()),
    ],
)
def test_filters(
    client: TestClient, pieces: Seeded, query: dict[str, str], found: set[str]
) -> None:
    text = client.get(BASE, params=query).text
    assert set(rows(text)) == {getattr(pieces, name) for name in found}


def test_a_tag_is_found_however_it_is_written(client: TestClient, pieces: Seeded) -> None:
    shown = f"{pieces.vase[:4]}-{pieces.vase[4:8]}"
    assert rows(client.get(BASE, params={"q": shown.lower()}).text) == [pieces.vase]
    assert rows(client.get(BASE, params={"q": pieces.vase}).text) == [pieces.vase]


def test_pages_of_the_list(
    client: TestClient, pieces: Seeded, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(paging, "PAGE", 3)
    first, second = (client.get(BASE, params={"page": number}).text for number in (1, 2))
    assert (len(rows(first)), len(rows(second))) == (3, 1)
    assert "Page 1 of 2" in first
    assert set(rows(first) + rows(second)) == {
        pieces.painting,
        pieces.frame,
        pieces.vase,
        pieces.print,
    }


def test_a_decision_on_ticked_pieces(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    ticked = [pieces.painting, pieces.vase]
    answer = client.post(f"{BASE}/decide", data=DECISION | {"tags": ticked, "claim": ADA})
    assert answer.status_code == 303
    for tag in ticked:
        decided = item(here, tag).decision
        assert decided is not None
        assert (decided.decision, decided.reason, decided.decided_by) == (
            Decision.AUTHORISE,
            "Cost is well within value",
            "Uma Trent",
        )
        assert item(here, tag).custody[-1].role is Role.ADJUSTER
    assert item(here, pieces.frame).decision is None

    text = client.get(answer.headers["location"]).text
    assert "Decided on 2 pieces." in text
    assert "Ben Reed" not in text


def test_a_decision_on_all_that_a_filter_finds(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    typed = DECISION | {"everything": "yes", "claim": ADA, "chosen": "hold"}
    assert client.post(f"{BASE}/decide", data=typed).status_code == 303
    held = {
        name
        for name in ("painting", "frame", "vase", "print")
        if item(here, getattr(pieces, name)).decision
    }
    assert held == {"painting", "frame", "vase"}


@pytest.mark.parametrize(
    ("typed", "field", "mend"),
    [
        ({"chosen": ""}, None, "Decision: choose one."),
        ({"chosen": "scrap"}, None, "Decision: choose one."),
        ({"reason": " "}, "reason", "Reason: write it down"),
        ({"decided_by": ""}, "decided_by", "Your name: say who decides"),
        ({"tags": []}, None, "Pieces: tick at least one"),
    ],
)
def test_a_decision_that_lacks_something_keeps_what_was_typed(
    client: TestClient,
    pieces: Seeded,
    typed: dict[str, object],
    field: str | None,
    mend: str,
) -> None:
    form = {**DECISION, "tags": [pieces.vase], "q": "jars", **typed}
    answer = client.post(f"{BASE}/decide", data=form)
    assert answer.status_code == 422
    assert mend in answer.text
    if field:
        assert f'id="{field}-error"' in answer.text
    if "tags" not in typed:
        assert re.search(rf'value="{pieces.vase}"[^>]* checked', answer.text)
    if "reason" not in typed:
        assert "Cost is well within value</textarea>" in answer.text
    assert 'name="q" value="jars"' in answer.text


def test_a_tag_of_another_claim_is_not_decided_on(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    typed = DECISION | {"tags": [pieces.vase, pieces.print], "claim": ADA}
    assert client.post(f"{BASE}/decide", data=typed).status_code == 422
    assert item(here, pieces.vase).decision is None
    assert item(here, pieces.print).decision is None
    alone = client.post(f"{BASE}/items/{pieces.print}/decide", data=DECISION | {"claim": ADA})
    assert alone.status_code == 404
    assert item(here, pieces.print).decision is None


def test_the_page_of_a_piece(client: TestClient, here: Installation, pieces: Seeded) -> None:
    disagree(here, pieces.painting)
    text = client.get(f"{BASE}/items/{pieces.painting}").text
    for words in (
        "Ann Lee",
        "61 × 91.4 cm",
        "tide line",
        "Agreed value",
        "1,200.00 GBP",
        "Stabilise, bench work",
        "90.00 GBP",
        "190.00 GBP",
        "1.5 h of work",
        "Within the value",
        "You decide",
        "entered differently by two people",
        "Listed on a manifest",
    ):
        assert words in text, words
    assert f'href="{BASE}/items/{pieces.frame}"' in text
    assert client.get(f"{BASE}/items/{'0' * 13}").status_code == 404


def test_a_decision_on_one_piece_and_its_history(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    path = f"{BASE}/items/{pieces.painting}"
    missing = client.post(f"{path}/decide", data=DECISION | {"reason": ""})
    assert missing.status_code == 422
    assert 'value="Uma Trent"' in missing.text
    assert 'value="authorise" checked' in missing.text

    for chosen, reason in (("question", "Is it signed?"), ("authorise", "It is signed")):
        sent = client.post(f"{path}/decide", data=DECISION | {"chosen": chosen, "reason": reason})
        assert sent.status_code == 303
    text = client.get(path).text
    assert "Question asked, by Uma Trent: Is it signed?" in text
    assert "Treatment authorised, by Uma Trent: It is signed" in text


def test_a_part_is_in_its_pieces_claim(client: TestClient, pieces: Seeded) -> None:
    text = client.get(f"{BASE}/items/{pieces.frame}", params={"claim": ADA}).text
    assert "Part of" in text
    assert "Ada Quill" in text
    other = client.get(f"{BASE}/items/{pieces.frame}", params={"claim": BEN})
    assert other.status_code == 404


def test_a_piece_is_found_under_a_tag_that_replaced_its_own(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    here.log.say(
        ev.TagReplaced(tag=pieces.vase, new_tag="0000000000018", reason="torn"),
        actor="A",
        role=Role.CREW,
        loss=LOSS,
    )
    assert "Pair of jars" in client.get(f"{BASE}/items/0000000000018").text


@pytest.mark.parametrize(
    "path",
    [
        "/adjuster/",
        BASE,
        f"{BASE}/items/{{painting}}",
        f"{BASE}/items/{{frame}}",
        f"{BASE}/inventory.json",
        f"{BASE}/inventory.csv",
    ],
)
def test_nothing_of_another_claim_is_on_any_page(
    client: TestClient, here: Installation, pieces: Seeded, path: str
) -> None:
    answer = client.get(path.format(**pieces.__dict__), params={"claim": ADA})
    assert answer.status_code == 200
    for words in (*OF_BEN, pieces.print):
        assert words not in answer.text, words
    assert client.get(f"{BASE}/items/{pieces.print}", params={"claim": ADA}).status_code == 404
    for of_all in ("XLSX", "Custody record"):
        assert (of_all in client.get(BASE).text) is True


def test_the_custody_record_goes_only_to_who_may_see_it_all(
    client: TestClient, pieces: Seeded
) -> None:
    assert client.get(f"{BASE}/custody.zip").content.startswith(b"PK")
    assert client.get(f"{BASE}/custody.zip", params={"claim": ADA}).status_code == 404
    text = client.get(BASE, params={"claim": ADA}).text
    assert "custody.zip" not in text
    assert "ask the office for it" in text


@pytest.mark.parametrize("form", ["pdf", "xlsx", "csv", "json"])
def test_inventories_of_one_claim(client: TestClient, pieces: Seeded, form: str) -> None:
    answer = client.get(f"{BASE}/inventory.{form}", params={"claim": ADA})
    assert answer.status_code == 200
    assert f"inventory-{LOSS}-{ADA}.{form}" in answer.headers["content-disposition"]
    assert client.get(f"{BASE}/inventory.{form}", params={"claim": "C-0"}).status_code == 404


def test_the_list_says_what_the_inventory_says(client: TestClient, pieces: Seeded) -> None:
    document = json.loads(client.get(f"{BASE}/inventory.json").text)
    assert [one["tag"] for one in document["items"]] == rows(client.get(BASE).text)


def test_a_photo_that_is_still_on_the_phone_is_said_to_be(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    phone = Writer("phone-c")
    phone.journal.saw(900)
    taken = ev.PhotoTaken.model_validate(
        {"tag": pieces.vase, "photo": "ab" * 32, "kind": "site", "caption": "two jars"}
    )
    here.log.append(plain(phone.say(taken)))
    assert "Photo on its way" in client.get(BASE).text
    assert (
        "Taken, not sent yet: On site · two jars" in client.get(f"{BASE}/items/{pieces.vase}").text
    )


def test_what_strangers_typed_is_shown_as_text(
    client: TestClient, here: Installation, pieces: Seeded
) -> None:
    phone = Writer("phone-c")
    phone.journal.saw(900)
    nasty = "<script>alert(1)</script>"
    here.log.append(
        plain(
            phone.say(
                ev.ItemTagged.model_validate(
                    {
                        "tag": "0000000000018",
                        "object_type": ObjectType.OTHER,
                        "materials": ("wood",),
                        "found": {"room": nasty},
                    }
                )
            ),
            phone.say(ev.ItemDescribed(tag="0000000000018", title=nasty, description=nasty)),
        )
    )
    for path in (BASE, f"{BASE}/items/0000000000018", f"/office/losses/{LOSS}"):
        assert nasty not in client.get(path).text
