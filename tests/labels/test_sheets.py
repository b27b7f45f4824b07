from io import BytesIO
from itertools import combinations
from pathlib import Path
from random import Random

import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labels.codes import TagError, new_tags, show_tag, tag_url
from labels.sheets import (
    HANDLING_LINE,
    LAYOUTS,
    STUB_LINE,
    Layout,
    LayoutError,
    layout_named,
    roll,
    with_spare_stub,
    write_tag_sheets,
)
from labels.symbols import SMALLEST_MODULE_MM, ErrorCorrection
from labels.typeface import BRACKET_NOTE
from tests.labels.pdf_reading import page_images, qr_texts, text_of

BASE = "https://tags.example"


def _tags(count: int) -> list[str]:
    return new_tags(count, Random(11).choice)


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_tag_of_every_layout_reads_back_at_200_dpi(name: str) -> None:
    layout = LAYOUTS[name]
    tags = _tags(layout.labels_per_page + 1)
    file = BytesIO()
    printed = write_tag_sheets(file, tags, layout, BASE)
    assert printed.pages == 2
    assert printed.module_mm >= SMALLEST_MODULE_MM

    copies = 2 if layout.stub_width else 1
    wanted = sorted(tag_url(BASE, tag) for tag in tags) * copies
    read = [text for image in page_images(file.getvalue()) for text in qr_texts(image)]
    assert sorted(read) == sorted(wanted)

    text = text_of(file.getvalue()).replace(" ", "").replace("-", "")
    for tag in tags:
        assert text.count(tag) == copies
    assert text.count(HANDLING_LINE.replace(" ", "")) == len(tags)
    assert (STUB_LINE.replace(" ", "") in text) is (copies == 2)


@pytest.mark.parametrize("level", ErrorCorrection)
def test_each_error_correction_level_reads_back(level: ErrorCorrection) -> None:
    tags = _tags(3)
    file = BytesIO()
    write_tag_sheets(file, tags, roll(62, 100), BASE, level=level)
    read = [text for image in page_images(file.getvalue(), 120) for text in qr_texts(image)]
    assert read == [tag_url(BASE, tag) for tag in tags]


def test_a_thousand_tags_are_written_with_progress(tmp_path: Path) -> None:
    tags = _tags(1_000)
    told: list[tuple[int, int]] = []
    path = tmp_path / "tags.pdf"
    printed = write_tag_sheets(
        path, tags, LAYOUTS["a4-3x8"], BASE, progress=lambda done, of: told.append((done, of))
    )
    assert printed.labels == 1_000
    assert printed.pages == 42
    assert told == [(count, 1_000) for count in range(1, 1_001)]
    # The drawing of a symbol is a few hundred runs; unmerged modules would need several times it.
    assert path.stat().st_size < 1_000_000
    reader = pypdf.PdfReader(path)
    assert len(reader.pages) == 42
    assert show_tag(tags[-1])[:4] in reader.pages[-1].extract_text()


def test_the_pdf_says_what_it_is() -> None:
    file = BytesIO()
    write_tag_sheets(
        file, _tags(30), LAYOUTS["a4-3x8"], BASE, title="Tags, étage 漢", language="fr"
    )
    reader = pypdf.PdfReader(file)
    assert reader.metadata is not None
    assert reader.metadata.title == "Tags, étage 漢"
    assert str(reader.root_object["/Lang"]) == "fr"
    assert reader.viewer_preferences is not None
    assert str(reader.viewer_preferences.print_scaling) == "/None"
    assert "étage [U+6F22] · page 2 of 2" in text_of(file.getvalue())
    assert BRACKET_NOTE not in text_of(file.getvalue())


@pytest.mark.parametrize("name", LAYOUTS)
def test_the_page_number_stays_off_the_labels(name: str) -> None:
    layout = LAYOUTS[name]
    folio = layout.folio_box
    if name.startswith("roll"):
        assert folio is None
        return
    assert folio is not None
    for position in range(layout.labels_per_page):
        box = layout.label(position)
        assert box.y >= folio.y + folio.height - 1e-6 or box.y + box.height <= folio.y + 1e-6


measures = st.floats(0, 120).map(lambda value: round(value, 1))
layouts: st.SearchStrategy[dict[str, float]] = st.builds(
    dict,
    page_width=st.floats(20, 420),
    page_height=st.floats(20, 420),
    columns=st.integers(1, 8),
    rows=st.integers(1, 12),
    label_width=measures,
    label_height=measures,
    left=st.floats(0, 20),
    top=st.floats(0, 20),
    column_gap=st.floats(0, 6),
    row_gap=st.floats(0, 6),
)


@settings(max_examples=300)
@given(layouts)
def test_no_label_overlaps_another_or_leaves_the_page(values: dict[str, float]) -> None:
    try:
        layout = Layout("any", **values)  # type: ignore[arg-type]
    except LayoutError:
        return
    _assert_boxes_are_apart(layout)


@pytest.mark.parametrize("name", LAYOUTS)
def test_no_named_layout_overlaps_or_leaves_the_page(name: str) -> None:
    _assert_boxes_are_apart(LAYOUTS[name])


def _assert_boxes_are_apart(layout: Layout) -> None:
    tolerance = 0.051
    boxes = [layout.label(position) for position in range(layout.labels_per_page)]
    for box in boxes:
        assert box.x >= -tolerance
        assert box.y >= -tolerance
        assert box.x + box.width <= layout.page_width + tolerance
        assert box.y + box.height <= layout.page_height + tolerance
    for a, b in combinations(boxes, 2):
        apart_x = a.x + a.width <= b.x + 1e-6 or b.x + b.width <= a.x + 1e-6
        apart_y = a.y + a.height <= b.y + 1e-6 or b.y + b.height <= a.y + 1e-6
        assert apart_x or apart_y


@given(st.floats(15, 120), st.floats(15, 120))
def test_a_symbol_stays_on_its_label_or_is_refused(width: float, height: float) -> None:
    file = BytesIO()
    try:
        printed = write_tag_sheets(file, _tags(1), roll(width, height), BASE)
    except LayoutError as error:
        assert "too little" in str(error)
        assert min(width, height) < 45
    else:
        assert printed.symbol_mm <= min(width, height)
        assert SMALLEST_MODULE_MM <= printed.module_mm <= 1.5


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"columns": 0}, "one column"),
        ({"label_width": 0}, "label_width must be above"),
        ({"left": -1}, "left can't be below"),
        ({"label_width": 80}, "too wide for the page by 35.0 mm"),
        ({"row_gap": 10}, "too high for the page by 20.0 mm"),
    ],
)
def test_layouts_that_cannot_be_are_refused(change: dict[str, float], why: str) -> None:
    good: dict[str, float] = {
        "page_width": 210,
        "page_height": 300,
        "columns": 3,
        "rows": 8,
        "label_width": 65,
        "label_height": 30,
        "left": 5,
        "top": 10,
    }
    Layout("good", **good)  # type: ignore[arg-type]
    with pytest.raises(LayoutError, match=why):
        Layout("bad", **(good | change))  # type: ignore[arg-type]


def test_layouts_are_found_by_name() -> None:
    assert layout_named("a4-3x8") is LAYOUTS["a4-3x8"]
    assert layout_named("roll-80x40.5") == roll(80, 40.5)
    for wrong in ("roll-axb", "roll-80x-4", "roll-80xnan", "roll-infx30"):
        with pytest.raises(LayoutError, match="roll"):
            layout_named(wrong)
    with pytest.raises(LayoutError, match="there are a4-3x8"):
        layout_named("a5-1x1")
    with pytest.raises(LayoutError, match="has no label 24"):
        LAYOUTS["a4-3x8"].label(24)


GRID = "grid:page=a4,columns=2,rows=7,label=99x38,left=4.7,top=15,gap=2.5x0"


def test_any_sheet_is_given_by_its_measures() -> None:
    layout = layout_named(GRID)
    assert (layout.page_width, layout.page_height) == pytest.approx((210, 297), abs=0.1)
    assert (layout.columns, layout.rows, layout.column_gap, layout.row_gap) == (2, 7, 2.5, 0)
    assert (layout.left, layout.top, layout.hole_diameter, layout.stub_width) == (4.7, 15, 0, 0)
    tie_on = layout_named("grid:label=100x60,rows=1,columns=1,page=120x70,hole=5,stub=28,left=3")
    assert (tie_on.page_width, tie_on.hole_diameter, tie_on.stub_width) == (120, 5, 28)
    letter = layout_named("grid:page=letter,columns=1,rows=1,label=100x60")
    assert letter.page_height == pytest.approx(279.4, abs=0.01)


def test_a_sheet_of_any_measures_reads_back() -> None:
    tags = _tags(14)
    file = BytesIO()
    assert write_tag_sheets(file, tags, layout_named(GRID), BASE).pages == 1
    (image,) = page_images(file.getvalue())
    assert sorted(qr_texts(image)) == sorted(tag_url(BASE, tag) for tag in tags)


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("grid:", "is not one of page, columns"),
        ("grid:page=a4,columns=2,rows=7", "label is missing"),
        ("grid:page=a4,columns=2,rows=7,label=99", "label=99 can't be read"),
        ("grid:page=a5,columns=2,rows=7,label=99x38", "page=a5 can't be read"),
        ("grid:page=a4,columns=2.5,rows=7,label=99x38", "columns=2.5 can't be read"),
        ("grid:page=a4,columns=2,rows=7,label=99x38,colour=red", "'colour=red' is not one of"),
        ("grid:page=a4,columns=2,columns=3,rows=7,label=99x38", "'columns=3' is not one of"),
        ("grid:page=a4,columns=3,rows=7,label=99x38", "too wide for the page by 87.0 mm"),
        ("grid:page=a4,columns=1,rows=1,label=20x38,stub=20", "stub leaves nothing"),
    ],
)
def test_measures_that_cannot_be_are_named(name: str, why: str) -> None:
    with pytest.raises(LayoutError, match=why):
        layout_named(name)


@pytest.mark.parametrize("name", ["a4-2x5-tie-on", "roll-100x62", "roll-62x100"])
def test_a_spare_stub_carries_the_same_tag(name: str) -> None:
    layout = with_spare_stub(layout_named(name))
    (tag,) = _tags(1)
    file = BytesIO()
    write_tag_sheets(file, [tag], layout, BASE)
    assert [text for image in page_images(file.getvalue()) for text in qr_texts(image)] == [
        tag_url(BASE, tag)
    ] * 2
    text = text_of(file.getvalue())
    assert STUB_LINE in text
    assert HANDLING_LINE in text


def test_stock_that_has_a_stub_gets_no_second() -> None:
    assert with_spare_stub(LAYOUTS["a4-2x5-tie-on"]) is LAYOUTS["a4-2x5-tie-on"]
    with pytest.raises(LayoutError, match="stub leaves nothing"):
        with_spare_stub(roll(20, 40))


def test_layouts_are_described_for_a_list_to_choose_from() -> None:
    assert LAYOUTS["a4-3x8"].words == "A4, 3 × 8 tags of 64 × 34 mm"
    assert LAYOUTS["letter-2x5-tie-on"].words == (
        "Letter, 2 × 5 tags of 102 × 51 mm, with a hole to tie on and a stub"
    )
    assert roll(57, 32).words == "Roll, 57 × 32 mm"
    assert layout_named("grid:page=120x70,columns=1,rows=2,label=90x30").words == (
        "120 × 70 mm, 1 × 2 tags of 90 × 30 mm"
    )


def test_what_would_print_wrong_tags_is_refused() -> None:
    layout = LAYOUTS["a4-3x8"]
    tag, other = _tags(2)
    with pytest.raises(ValueError, match="at least one"):
        write_tag_sheets(BytesIO(), [], layout, BASE)
    with pytest.raises(ValueError, match="given twice"):
        write_tag_sheets(BytesIO(), [tag, other, show_tag(tag)], layout, BASE)
    with pytest.raises(TagError):
        write_tag_sheets(BytesIO(), [tag[:-1]], layout, BASE)
    with pytest.raises(TagError, match="alphanumeric"):
        write_tag_sheets(BytesIO(), [tag], layout, "https://tags.example/lower")
