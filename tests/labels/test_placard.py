from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO
from typing import Any

import numpy as np
import pypdf
import pytest

from labels.paper import PageSize
from labels.placard import (
    ENGLISH,
    GOVERNING_LINE,
    REMOVAL_LINE,
    Placard,
    PlacardError,
    SignalWords,
    write_placards,
)
from tests.labels.pdf_reading import page_images, text_of

PLACARD = Placard(
    space="Chamber 2, door A",
    agent="Example gas",
    hazards=("Poisonous to breathe", "no smell to warn you"),
    introduced_at=datetime(2031, 3, 4, 9, 30, tzinfo=UTC),
    licensed_person="R. Example",
    licence="F-0000, Example State",
    phone="+00 000 000",
    registration="Reg. No. 00000-0",
    emergency_phone="000",
)


def _written(placards: list[Placard], page_size: PageSize = PageSize.A4) -> bytes:
    file = BytesIO()
    assert write_placards(file, placards, page_size) == len(placards)
    return file.getvalue()


@pytest.mark.parametrize("page_size", PageSize)
def test_all_that_a_placard_must_say_is_on_it(page_size: PageSize) -> None:
    text = text_of(_written([PLACARD], page_size))
    for wanted in (
        "DANGER",
        "PELIGRO",
        "KEEP OUT",
        "NO ENTRE",
        "Fumigation: Example gas",
        "Poisonous to breathe · no smell to warn you",
        "Chamber 2, door A",
        "Tue 04 Mar 2031, 09:30 UTC",
        "R. Example",
        "F-0000, Example State",
        "+00 000 000",
        "Reg. No. 00000-0",
        REMOVAL_LINE,
        GOVERNING_LINE,
    ):
        assert wanted in text
    assert "safe" not in text.lower()


def test_a_panel_across_the_top_is_red() -> None:
    (image,) = page_images(_written([PLACARD]), dpi=40)
    assert image.mode == "L"
    grey = np.asarray(image)
    height, width = grey.shape
    # The red prints as dark grey; the middle of the page below the panel is mostly white.
    assert grey[int(height * 0.065), int(width * 0.15) : int(width * 0.85)].max() < 120
    assert np.median(grey[int(height * 0.85)]) > 240


def test_one_page_for_each_door_in_the_languages_given() -> None:
    doors = [replace(PLACARD, space=f"Door {n}", words=(ENGLISH,)) for n in "AB"]
    pages = pypdf.PdfReader(BytesIO(_written(doors))).pages
    assert ["Door A" in page.extract_text() for page in pages] == [True, False]
    assert "PELIGRO" not in pages[0].extract_text()
    french = replace(PLACARD, words=(SignalWords("DANGER", "DÉFENSE D’ENTRER"),))
    assert "DÉFENSE D’ENTRER" in text_of(_written([french]))


def test_empty_optional_lines_are_left_out() -> None:
    text = text_of(_written([replace(PLACARD, registration="", emergency_phone="", hazards=())]))
    assert "Registration" not in text
    assert "Emergency" not in text


@pytest.mark.parametrize("name", ["space", "agent", "licensed_person", "licence", "phone"])
def test_a_placard_without_what_it_must_name_is_refused(name: str) -> None:
    change: dict[str, Any] = {name: "  "}
    with pytest.raises(PlacardError, match=f"{name} is empty"):
        replace(PLACARD, **change)


def test_what_cannot_be_printed_is_refused() -> None:
    with pytest.raises(PlacardError, match="at least one"):
        write_placards(BytesIO(), [])
    with pytest.raises(PlacardError, match="at least one language"):
        replace(PLACARD, words=())
    with pytest.raises(PlacardError, match="too much text"):
        _written([replace(PLACARD, hazards=("very long " * 200,))])
    with pytest.raises(ValueError, match="with its zone"):
        _written([replace(PLACARD, introduced_at=PLACARD.introduced_at.replace(tzinfo=None))])
