from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import BytesIO
from random import Random
from zoneinfo import ZoneInfo

import numpy as np
import pypdf
import pytest

from labels.codes import TagError, new_tags, show_tag
from labels.paper import PageSize
from labels.runsheet import (
    STATUS,
    Fill,
    LoadLine,
    PlannedTime,
    Programme,
    RunSheet,
    RunSheetError,
    write_run_sheets,
)
from labels.typeface import BRACKET_NOTE
from tests.labels.pdf_reading import page_images, text_of

START = datetime(2031, 3, 4, 7, 30, tzinfo=ZoneInfo("Europe/Zurich"))
TAGS = new_tags(40, Random(4).choice)


def _line(number: int, start: int, end: int, layer: str = "Rail 1") -> LoadLine:
    return LoadLine(
        TAGS[number], f"Title {number}", "oil on canvas", "61 × 91 cm", start, end, layer
    )


def _sheet(load: tuple[LoadLine, ...], rail_length_mm: int = 6_000) -> RunSheet:
    return RunSheet(
        title="Run 7",
        chamber="Chamber 2",
        programme=Programme("Smoke odour", "3", "R. Example", "F-0000, Example State"),
        times=(
            PlannedTime("Load from", START),
            PlannedTime("Earliest check", START + timedelta(hours=20)),
        ),
        load=load,
        fill=Fill(9.4, 16.8, 3_900, 18_000),
        rail_length_mm=rail_length_mm,
        spacing_rules=("50 mm between framed works",),
        cautions=("Placard every door.", "Two people at the door."),
    )


LOAD = (
    replace(_line(0, 100, 720), notes="face to the wall", warnings=("Cracked glass",)),
    _line(1, 770, 1_680),
    _line(2, 100, 500, "Shelf"),
)


def _written(sheets: list[RunSheet], page_size: PageSize = PageSize.A4) -> bytes:
    file = BytesIO()
    write_run_sheets(file, sheets, page_size)
    return file.getvalue()


@pytest.mark.parametrize("page_size", PageSize)
def test_everything_given_is_printed(page_size: PageSize) -> None:
    text = text_of(_written([_sheet(LOAD)], page_size))
    for wanted in (
        "Run 7",
        "Chamber 2",
        "Smoke odour, version 3",
        "R. Example",
        "F-0000, Example State",
        "Tue 04 Mar 2031, 07:30 CET",
        "Wed 05 Mar 2031, 03:30 CET",
        "56 %",
        "9.4 of 16.8 m³ usable",
        "3.90 of 18.00 m",
        "61 × 91 cm",
        "100–720",
        "face to the wall",
        "! Cracked glass",
        "50 mm between framed works",
        "Placard every door.",
        "Two people at the door.",
        "Licensed fumigator",
    ):
        assert wanted in text
    for line in LOAD:
        assert show_tag(line.tag)[:9] in text
        assert show_tag(line.tag)[10:] in text
        assert line.title in text


def test_every_page_says_not_cleared_and_its_number() -> None:
    load = tuple(_line(n, n * 140, n * 140 + 100) for n in range(40))
    pdf = _written([_sheet(load), _sheet(LOAD)])
    pages = pypdf.PdfReader(BytesIO(pdf)).pages
    assert len(pages) >= 4
    for number, page in enumerate(pages, start=1):
        text = " ".join(page.extract_text().split())
        assert STATUS in text
        assert "entry is decided by the licensed fumigator" in text
        assert f"page {number} of {len(pages)}" in text
    everything = text_of(pdf)
    assert "until a measured clearance is signed by two people" in everything
    assert "safe" not in everything.lower()


def test_pieces_are_drawn_to_scale() -> None:
    # Alone on the rail, a piece is the widest dark stretch between the fill bars and the table.
    def dark_width(end_mm: int) -> int:
        (image, *_) = page_images(_written([_sheet((_line(0, 0, end_mm),))]), dpi=100)
        dark = np.asarray(image) < 100
        height, width = dark.shape
        lanes = dark[int(height * 0.38) : int(height * 0.60), int(width * 0.15) :]
        # Twenty-five rows at least show the piece; the axis and the rules are thinner.
        return int(np.sort(lanes.sum(axis=1))[-25])

    half, quarter = dark_width(3_000), dark_width(1_500)
    assert half / quarter == pytest.approx(2, rel=0.05)


def test_markup_in_user_text_is_printed_not_obeyed() -> None:
    line = replace(
        LOAD[0], title='<b>unclosed & <img src="http://127.0.0.1/x.png"/>', what="&#0; <para>"
    )
    # A word longer than its column is broken, so compare without spaces.
    text = text_of(_written([_sheet((line,))])).replace(" ", "")
    assert line.title.replace(" ", "") in text
    assert "&#0;<para>" in text


def test_letters_that_the_typeface_lacks_are_explained() -> None:
    plain = text_of(_written([_sheet(LOAD)]))
    assert BRACKET_NOTE not in plain
    text = text_of(_written([_sheet((replace(LOAD[0], title="Dvořák"),))]))
    assert "Dvo[r]ák" in text
    assert BRACKET_NOTE in text


def test_an_overfull_chamber_is_called_over() -> None:
    sheet = replace(_sheet(LOAD), fill=Fill(20, 16.8, 3_900, 18_000))
    assert "119 % OVER" in text_of(_written([sheet]))


def test_an_empty_load_and_a_long_one_print() -> None:
    assert "Load, in this order (0)" in text_of(_written([_sheet(())]))
    load = tuple(_line(n, n * 10, n * 10 + 9) for n in range(40))
    assert "Load, in this order (40)" in text_of(_written([_sheet(load, 400)]))


def test_the_pdf_says_what_it_is() -> None:
    file = BytesIO()
    pages = write_run_sheets(file, [_sheet(LOAD)], title="Feuilles", language="fr")
    reader = pypdf.PdfReader(file)
    assert len(reader.pages) == pages
    assert reader.metadata is not None
    assert reader.metadata.title == "Feuilles"
    assert str(reader.root_object["/Lang"]) == "fr"


def test_no_sheets_are_refused() -> None:
    with pytest.raises(RunSheetError, match="at least one"):
        write_run_sheets(BytesIO(), [])


@pytest.mark.parametrize(
    ("load", "why"),
    [
        ((_line(0, 500, 500),), "not within 0 to 6000"),
        ((_line(0, -1, 500),), "not within"),
        ((_line(0, 5_900, 6_001),), "not within"),
        ((_line(0, 0, 500), _line(1, 499, 600)), "overlap on Rail 1 at 499 mm"),
        ((_line(1, 499, 600), _line(0, 0, 500)), "overlap on Rail 1"),
    ],
)
def test_loads_that_cannot_be_are_refused(load: tuple[LoadLine, ...], why: str) -> None:
    with pytest.raises(RunSheetError, match=why):
        _sheet(load)


def test_pieces_that_touch_or_hang_on_different_rails_are_allowed() -> None:
    assert _sheet((_line(0, 0, 500), _line(1, 500, 600))).layers == ("Rail 1",)
    assert _sheet((_line(0, 0, 500), _line(1, 0, 600, "Shelf"))).layers == ("Rail 1", "Shelf")


def test_figures_that_cannot_be_are_refused() -> None:
    with pytest.raises(RunSheetError, match="rail_length_mm"):
        _sheet((), rail_length_mm=0)
    with pytest.raises(RunSheetError, match="usable volume"):
        replace(_sheet(LOAD), fill=Fill(1, 0, 0, 100))


def test_times_need_their_zone_and_tags_their_check() -> None:
    bare = PlannedTime("Load from", START.replace(tzinfo=None))
    with pytest.raises(ValueError, match="with its zone"):
        _written([replace(_sheet(LOAD), times=(bare,))])
    utc = PlannedTime("Load from", START.astimezone(UTC))
    assert "06:30 UTC" in text_of(_written([replace(_sheet(LOAD), times=(utc,))]))
    with pytest.raises(TagError):
        _written([_sheet((replace(LOAD[0], tag="0000"),))])
