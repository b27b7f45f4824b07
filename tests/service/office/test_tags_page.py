"""Blank tags on stock of any measures, with a spare stub for the crate."""

import pytest
from starlette.testclient import TestClient

from labels.codes import parse_tag
from labels.sheets import STUB_LINE
from tests.labels.pdf_reading import page_images, qr_texts, text_of

GRID = "grid:page=a4,columns=2,rows=7,label=99x38,left=4.7,top=15,gap=2.5x0"


@pytest.mark.parametrize("measures", [GRID, "roll-90x60"])
def test_stock_is_given_by_its_measures(client: TestClient, measures: str) -> None:
    answer = client.post(
        "/office/tags", data={"count": "3", "layout": "a4-3x8", "measures": measures}
    )
    assert answer.status_code == 200
    images = page_images(answer.content)
    assert len(images) == (1 if measures == GRID else 3)
    assert len({parse_tag(text) for image in images for text in qr_texts(image)}) == 3


def test_a_spare_stub_is_added(client: TestClient) -> None:
    answer = client.post(
        "/office/tags", data={"count": "1", "layout": "roll-100x62", "stub": "yes"}
    )
    (image,) = page_images(answer.content)
    first, spare = qr_texts(image)
    assert first == spare
    assert STUB_LINE in text_of(answer.content)


def test_what_was_typed_comes_back_with_the_mend(client: TestClient) -> None:
    answer = client.post(
        "/office/tags",
        data={"count": "3", "layout": "a4-3x8", "measures": "grid:page=a4", "stub": "yes"},
    )
    assert answer.status_code == 422
    assert "columns is missing" in answer.text
    assert 'value="grid:page=a4"' in answer.text
    assert 'value="yes" checked' in answer.text
