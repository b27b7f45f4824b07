"""The second tag of a piece: what triage says now, on the paper chosen."""

import re

import pytest
from starlette.testclient import TestClient

from labels.advice_tag import time_left
from labels.codes import new_tag, parse_tag, show_tag
from service.assessing import triage_of
from service.facility.sheets import advice_tag
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from shared.records import Item
from shared.vocabulary import Damage, Hazard, Material
from tests.labels.pdf_reading import page_images, qr_texts, text_of
from tests.service.facility.house import BOWL, VASE, bring, furnish

PATH = f"/facility/items/{BOWL}/second-tag.pdf"

FULL = new_tag()


@pytest.fixture(autouse=True)
def house(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    bring(here, BOWL, Damage.SOAKED, materials=(Material.OIL_CANVAS,), title="Weir")


def test_the_pieces_page_leads_to_it(client: TestClient) -> None:
    assert f'action="{PATH}"' in client.get(f"/facility/items/{BOWL}").text


def test_it_says_what_triage_says_now(client: TestClient, here: Installation) -> None:
    answer = client.get(PATH, params={"layout": "roll-100x150"})
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, BOWL)
        assert item is not None
        loss = reading.loss(session, EVERYTHING, item.loss) if item.loss else None
        book = reading.facility(session)
    triage = triage_of(item, loss, here.now(), (), book, known=here.facts)
    text = text_of(answer.content)
    assert show_tag(BOWL) in text
    assert triage.band.label.upper() in text
    assert triage.first in text
    assert "as of " in text
    assert triage.hours_left is not None
    assert time_left(triage.hours_left) in text
    assert len(triage.never) > 4
    for one in triage.never:
        assert one.sentence in text
    read = [code for image in page_images(answer.content) for code in qr_texts(image)]
    assert {parse_tag(code) for code in read} == {BOWL}


def test_what_does_not_fit_is_said(client: TestClient) -> None:
    for params, status, mend in (
        ({"layout": "papyrus"}, 422, "no layout"),
        ({"layout": "roll-20x20"}, 422, "too small for a second tag"),
        ({"layout": "roll-62x100", "first_label": "2"}, 422, "labels 1 to 1"),
    ):
        answer = client.get(PATH, params=params)
        assert answer.status_code == status
        assert mend in answer.text
    nobody = client.get(PATH.replace(BOWL, new_tag()), params={"layout": "roll-62x100"})
    assert nobody.status_code == 404
    other = client.get(PATH.replace(BOWL, VASE), params={"layout": "a4-2x5-tie-on"})
    assert other.status_code == 200


def test_cautions_of_the_site_alone_are_left_there_and_all_others_are_kept(
    here: Installation,
) -> None:
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, BOWL)
        assert item is not None
        assert item.loss is not None
        loss = reading.loss(session, EVERYTHING, item.loss)
        book = reading.facility(session)
    assert loss is not None
    loss = loss.model_copy(update={"hazards": list(Hazard)})
    triage = triage_of(item, loss, here.now(), (), book, known=here.facts)

    def cautions(of: Item) -> set[str]:
        made = advice_tag(of, loss, triage, (), book=book, now=here.now(), known=here.facts)
        return set(made.cautions)

    rows = [row for row in here.facts.cautions.values() if row.trigger_kind == "hazard"]
    of_site = {row.text for row in rows if row.site_only}
    of_people = {row.text for row in rows if row.guards == "people"}
    assert of_people <= cautions(item.model_copy(update={"received_at": None}))
    assert of_people - of_site == of_people & cautions(item)


def test_the_fullest_piece_of_a_flood_fits_two_labels_of_the_usual_roll(
    client: TestClient, here: Installation
) -> None:
    # As the fullest of the demonstration: soaked, muddy and flaking oil in a gilded frame.
    bring(
        here,
        FULL,
        *(Damage.SOAKED, Damage.MUD, Damage.FLAKING),
        materials=(Material.OIL_CANVAS, Material.GILDED_GESSO),
    )
    path = PATH.replace(BOWL, FULL)
    text = text_of(client.get(path, params={"layout": "roll-62x100"}).content)
    assert len(re.findall("Label . of 2", text)) in {0, 2}
    assert "Label 3" not in text
    assert "Never rub or brush the mud" in text
    assert text.index("Never rub or brush the mud") < text.index("Never freeze it")
    assert text.index("Never freeze it") < text.index("Never stack it")
