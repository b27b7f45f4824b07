import re
from dataclasses import replace
from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

import numpy as np
import pypdf
import pypdfium2
import pytest
import reportlab
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ImageFont

from labels.advice_tag import (
    MOST_LABELS,
    SMALLEST_TEXT_PT,
    AdviceTag,
    time_left,
    write_advice_tags,
)
from labels.codes import TagError, new_tags, show_tag, tag_url
from labels.sheets import (
    HANDLING_LINE,
    LAYOUTS,
    STUB_LINE,
    LayoutError,
    layout_named,
    roll,
    with_spare_stub,
)
from labels.typeface import BOLD, REGULAR
from tests.labels.pdf_reading import page_images, qr_texts, text_of

BASE = "https://tags.example"
TAG, OTHER = new_tags(2, Random(12).choice)
AS_OF = datetime(2031, 3, 4, 7, 30, tzinfo=ZoneInfo("Europe/Zurich"))
PIECE = AdviceTag(
    tag=TAG,
    band="Today",
    as_of=AS_OF,
    first="Lay it level with nothing on the face",
    hours_left=5.9,
    deadline=AS_OF + timedelta(hours=5.9),
    cautions=("Dirty water: gloves and goggles.", "It may be heavy: lift it with two people."),
    care=tuple(f"Never do thing {number}" for number in range(1, 8)),
    title="Harbour at dusk",
)
SHORT = AdviceTag(tag=OTHER, band="Can wait", as_of=AS_OF, first="Move it to drier air")


def _written(pieces: list[AdviceTag], name: str = "roll-62x100", first_label: int = 1) -> bytes:
    file = BytesIO()
    write_advice_tags(file, pieces, layout_named(name), BASE, first_label=first_label)
    return file.getvalue()


def _sizes(pdf: bytes) -> set[float]:
    """Sizes of type in the first page, in points."""
    found = set()

    def seen(text: str, _cm: object, matrix: list[float], _font: object, size: float) -> None:
        if text.strip():
            found.add(round(size * abs(matrix[3] or 1), 2))

    pypdf.PdfReader(BytesIO(pdf)).pages[0].extract_text(visitor_text=seen)
    return found


@pytest.mark.parametrize("name", LAYOUTS)
def test_all_that_triage_said_is_on_the_labels_of_every_stock(name: str) -> None:
    pdf = _written([PIECE, SHORT], name)
    text = text_of(pdf)
    # A line broken over labels has a head and a foot between its halves.
    words = set(text.split())
    for wanted in (
        show_tag(TAG),
        "TODAY",
        "5 hours left",
        "as of Tue 04 Mar 2031, 07:30 CET",
        "CAN WAIT",
        "No clock runs",
    ):
        assert wanted in text
    for line in (PIECE.first, *PIECE.cautions):
        assert set(line.split()) <= words
    shown = [one for one in PIECE.care if one in text]
    assert shown == list(PIECE.care[: len(shown)])
    left_off = len(PIECE.care) - len(shown)
    assert (f"and {left_off} more: scan the tag" in text) is (left_off > 0)
    assert HANDLING_LINE in text

    copies = 2 if LAYOUTS[name].stub_width else 1
    read = [code for image in page_images(pdf) for code in qr_texts(image)]
    assert set(read) == {tag_url(BASE, TAG), tag_url(BASE, OTHER)}
    assert len(read) == text.count(HANDLING_LINE) * copies
    assert (f"Today. {STUB_LINE}" in text) is (copies == 2)
    assert min(size for size in _sizes(pdf) if size > 1) >= SMALLEST_TEXT_PT - 0.01


def test_long_text_goes_on_on_more_labels_that_say_which_they_are() -> None:
    pdf = _written([PIECE], "roll-57x32")
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(BytesIO(pdf)).pages]
    assert len(pages) > 1
    for number, page in enumerate(pages, start=1):
        assert f"Label {number} of {len(pages)}." in page
        assert show_tag(TAG) in page
        assert "TODAY" in page


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.integers(1, 60), min_size=1, max_size=6),
    st.sampled_from(["roll-62x100", "roll-57x32", "a4-3x8", "a4-2x5-tie-on", "roll-100x62"]),
)
def test_no_word_is_ever_lost_or_drawn_off_the_label(lengths: list[int], name: str) -> None:
    numbers = iter(range(1, 10_000))
    cautions = tuple(" ".join(f"w{next(numbers)}" for _ in range(many)) for many in lengths)
    pdf = _written([replace(PIECE, cautions=cautions)], name)
    document = pypdfium2.PdfDocument(pdf)
    words = [word for page in document for word in page.get_textpage().get_text_bounded().split()]
    wanted = [word for line in cautions for word in line.split()]
    assert [word for word in words if word in set(wanted)] == wanted
    if name.startswith("roll"):
        for page in document:
            text = page.get_textpage()
            boxes = [text.get_rect(index) for index in range(text.count_rects())]
            for one, box in enumerate(boxes):
                assert box[0] >= 0
                assert box[1] >= 0
                assert box[2] <= page.get_width()
                assert box[3] <= page.get_height()
                assert not any(_overlap(box, other) for other in boxes[:one])


def _overlap(one: tuple[float, ...], other: tuple[float, ...], slack_pt: float = 1.0) -> bool:
    across = min(one[2], other[2]) - max(one[0], other[0])
    up = min(one[3], other[3]) - max(one[1], other[1])
    return across > slack_pt and up > slack_pt


def test_nothing_hangs_on_colour() -> None:
    (page,) = pypdfium2.PdfDocument(_written([PIECE]))
    pixels = np.asarray(page.render(scale=2).to_pil().convert("RGB")).astype(int)
    assert np.abs(pixels - pixels.mean(axis=2, keepdims=True)).max() < 2


def test_a_sheet_begun_is_used_up() -> None:
    whole, rest = (
        _written([PIECE, SHORT], "a4-2x5-tie-on", first_label=first) for first in (1, 10)
    )
    assert len(pypdf.PdfReader(BytesIO(whole)).pages) == 1
    pages = pypdf.PdfReader(BytesIO(rest)).pages
    assert len(pages) == 2
    assert "5 hours left" in pages[0].extract_text()
    assert show_tag(OTHER)[:9] not in pages[0].extract_text()
    assert sorted(qr_texts(page_images(rest)[0])) == [tag_url(BASE, TAG)] * 2


def test_a_spare_stub_repeats_the_tag_and_how_soon() -> None:
    file = BytesIO()
    layout = with_spare_stub(roll(100, 62))
    write_advice_tags(file, [SHORT], layout, BASE)
    assert [text for image in page_images(file.getvalue()) for text in qr_texts(image)] == [
        tag_url(BASE, OTHER)
    ] * 2
    assert f"Can wait. {STUB_LINE}" in text_of(file.getvalue())


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (None, "No clock runs"),
        (100.0, "100 hours left"),
        (1.99, "1 hour left"),
        (0.4, "Less than 1 hour left"),
        (0.0, "Time ran out less than 1 hour ago"),
        (-1.0, "Time ran out 1 hour ago"),
        (-30.5, "Time ran out 30 hours ago"),
    ],
)
def test_time_left_is_rounded_down(hours: float | None, words: str) -> None:
    assert time_left(hours) == words


def test_a_frozen_piece_shows_that_its_clock_stands() -> None:
    text = text_of(_written([replace(PIECE, is_paused=True)]))
    assert "5 hours left once thawed; the clock stands" in text
    assert "Time ends" not in text


long_lines = st.lists(
    st.integers(1, 20).map(lambda many: " ".join(["soot"] * many)), min_size=0, max_size=6
)


@settings(max_examples=15, deadline=None)
@given(long_lines, long_lines, st.sampled_from(["roll-62x100", "roll-57x32", "a4-2x5-tie-on"]))
def test_only_care_of_the_piece_is_left_off_from_its_end_and_counted(
    guards: list[str], care: list[str], name: str
) -> None:
    cautions = tuple(f"guard{number} {line} ends" for number, line in enumerate(guards))
    spares = tuple(f"care{number} {line}" for number, line in enumerate(care))
    piece = replace(PIECE, cautions=cautions, care=spares)
    pdf = _written([piece], name)
    text = text_of(pdf)
    assert [f"guard{n}" for n in range(len(guards))] == re.findall(r"guard\d+", text)
    assert text.count("ends") >= len(guards)
    shown = re.findall(r"care\d+", text)
    assert shown == [f"care{n}" for n in range(len(shown))]
    left_off = len(care) - len(shown)
    assert re.findall(r"and (\d+) more: scan the tag", text) == [str(left_off)] * bool(left_off)
    if left_off:
        assert text.count(HANDLING_LINE) >= MOST_LABELS


def test_two_labels_at_readable_size_come_before_leaving_off() -> None:
    text = text_of(_written([replace(PIECE, care=tuple(PIECE.care) * 8)], "roll-62x100"))
    assert "more: scan the tag" in text
    assert text.count(HANDLING_LINE) == MOST_LABELS
    assert "more: scan the tag" not in text_of(_written([PIECE], "roll-62x100"))


def test_the_least_type_has_the_x_height_of_the_food_label_rules() -> None:
    # Regulation (EU) No 1169/2011, Article 13(2) and Annex IV: x-height of 1.2 mm or more.
    folder = Path(reportlab.__file__).parent / "fonts"
    for name in (REGULAR, BOLD):
        _, top, _, bottom = ImageFont.truetype(folder / f"{name}.ttf", 1000).getbbox("x")
        assert SMALLEST_TEXT_PT / 72 * 25.4 * (bottom - top) / 1000 >= 1.2


def test_user_text_is_never_markup() -> None:
    text = text_of(_written([replace(SHORT, title="<b>unclosed & Dvořák")], "roll-100x62"))
    assert "<b>unclosed & Dvo[r]ák" in text


def test_what_cannot_be_printed_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        _written([])
    with pytest.raises(ValueError, match="labels 1 to 10"):
        _written([PIECE], "a4-2x5-tie-on", first_label=11)
    with pytest.raises(ValueError, match="with its zone"):
        _written([replace(PIECE, as_of=datetime(2031, 3, 4))])  # noqa: DTZ001
    with pytest.raises(TagError):
        _written([replace(PIECE, tag=TAG[:-1])])
    with pytest.raises(LayoutError, match="too small for a second tag"):
        _written([PIECE], "roll-25x25")
    with pytest.raises(LayoutError, match="does not fit its labels"):
        _written([PIECE], "roll-60x22")
