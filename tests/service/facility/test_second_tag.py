"""The second tag of a piece: what triage says now, on the paper chosen."""

import pytest
from starlette.testclient import TestClient

from labels.advice_tag import time_left
from labels.codes import new_tag, parse_tag, show_tag
from service.assessing import triage_of
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from shared.vocabulary import Damage, Material
from tests.labels.pdf_reading import page_images, qr_texts, text_of
from tests.service.facility.house import BOWL, VASE, bring, furnish

PATH = f"/facility/items/{BOWL}/second-tag.pdf"


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
    for one in triage.never[:4]:
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
