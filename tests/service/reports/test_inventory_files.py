"""Each file of the inventory, read back by another library than the one that wrote it.

CSV: RFC 4180. PDF catalogue entries: ISO 32000-1:2008, 7.7.2 (Lang), 12.2 (DisplayDocTitle).
"""

import csv
import io
import json
import re
import unicodedata
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import openpyxl
import pypdfium2
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from openpyxl.cell.cell import Cell
from openpyxl.utils.escape import unescape
from PIL import Image
from pypdf import PdfReader

from labels.paper import MARGIN_PT, PageSize
from service.reports.inventory_csv import as_entered, neutralised, write_inventory_csv
from service.reports.inventory_document import InventoryDocument
from service.reports.inventory_json import write_inventory_json
from service.reports.inventory_pdf import write_inventory_pdf
from service.reports.inventory_table import item_columns
from service.reports.inventory_xlsx import MOST_CHARACTERS, cell_text, write_inventory_xlsx
from service.reports.item_block import MOST_PHOTOS, NO_ESTIMATE
from service.reports.photos import NoPhotos
from tests.service.reports import factories
from tests.service.reports.hostile import CELLS, MARKUP

TAGS = factories.tags(40)


@pytest.fixture(scope="module")
def photos() -> factories.Photos:
    kept = factories.Photos()
    for number in range(3):
        kept.add(factories.photo_bytes(f"photo {number}", 640, 480))
    return kept


@pytest.fixture(scope="module")
def document(photos: factories.Photos) -> InventoryDocument:
    items = [
        factories.item(tag, number, photos=list(photos)[: number % 4])
        for number, tag in enumerate(TAGS[:9])
    ]
    items.append(factories.part_of(items[0], TAGS[9]))
    items.append(factories.conflicted(TAGS[10], 2, title="A very long title " * 14))
    return factories.document(items)


@pytest.fixture(scope="module")
def pdf(document: InventoryDocument, photos: factories.Photos) -> PdfReader:
    out = io.BytesIO()
    write_inventory_pdf(document, out, photos)
    return PdfReader(out)


def text_of(reader: PdfReader) -> str:
    """All text, without the line breaks that wrapping put in."""
    return squeezed("".join(page.extract_text() for page in reader.pages))


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


# --- PDF --------------------------------------------------------------------------------------


def test_the_pdf_has_every_tag_title_and_amount(
    pdf: PdfReader, document: InventoryDocument
) -> None:
    text = text_of(pdf)

    for item in document.items:
        assert squeezed(item.tag_shown) in text
        assert squeezed(item.name) in text
        for line in item.costs.lines:
            assert squeezed(f"{line.amount.amount:,f} {line.amount.currency}") in text
        if item.value:
            assert squeezed(f"{item.value.value.amount:,f}{item.value.value.currency}") in text
        for seen in item.condition.damages:
            assert squeezed(seen.damage.label) in text
    for total in document.totals.everything.amounts:
        assert squeezed(f"{total.charged:,f}") in text
    assert document.custody.root in text
    assert squeezed("Two values for materials: “Oil on canvas” (Bo Lund)") in text


def test_the_pdf_says_what_it_is(pdf: PdfReader, document: InventoryDocument) -> None:
    root: Any = pdf.trailer["/Root"]

    assert pdf.metadata is not None
    assert pdf.metadata.title == document.title
    assert root["/Lang"] == "en"
    assert bool(root["/ViewerPreferences"]["/DisplayDocTitle"])


def test_every_page_has_its_number_and_the_notice(pdf: PdfReader) -> None:
    for number, page in enumerate(pdf.pages, start=1):
        text = squeezed(page.extract_text())
        assert squeezed(f"Page {number} of {len(pdf.pages)}") in text
        assert squeezed(factories.NOTICE) in text


def test_the_outline_leads_to_each_item(pdf: PdfReader, document: InventoryDocument) -> None:
    def flat(outline: list[Any]) -> list[Any]:
        return [
            one for each in outline for one in (flat(each) if isinstance(each, list) else [each])
        ]

    entries = flat(pdf.outline)
    titles = [str(entry.title) for entry in entries]
    assert titles[:3] == ["Cover", "Summary", "Method and cautions"]
    assert titles[-1] == "Custody"
    for item in document.items:
        entry = next(each for each in entries if str(each.title).startswith(item.tag_shown))
        page = pdf.get_destination_page_number(entry)
        assert page is not None
        assert item.tag_shown in pdf.pages[page].extract_text()


def test_letter_is_letter(document: InventoryDocument, tmp_path: Path) -> None:
    target = tmp_path / "letter.pdf"
    write_inventory_pdf(document, target, NoPhotos(), page_size=PageSize.LETTER)
    box = PdfReader(target).pages[0].mediabox

    assert (float(box.width), float(box.height)) == (612, 792)


def test_markup_is_shown_as_typed_and_leads_nowhere() -> None:
    items = [
        factories.item(tag, number, title=words, description=words, maker=words)
        for number, (tag, words) in enumerate(zip(TAGS, MARKUP, strict=False))
    ]
    out = io.BytesIO()
    write_inventory_pdf(factories.document(items), out, NoPhotos())
    reader = PdfReader(out)
    text = text_of(reader)

    for words in MARKUP:
        assert text.count(squeezed(words)) >= 3
    assert b"/URI" not in out.getvalue()
    assert all(not page.images for page in reader.pages)


def test_a_character_without_letterform_shows_its_number() -> None:
    item = factories.item(TAGS[0], title="\u6f22 Мост \u202egpj.exe", maker="a\0b")
    out = io.BytesIO()
    write_inventory_pdf(factories.document([item]), out, NoPhotos())
    text = text_of(PdfReader(out))

    assert "[U+6F22][U+041C]" in text
    assert "[U+202E]gpj.exe" in text


def test_text_of_any_length_fits_some_number_of_pages() -> None:
    item = factories.item(
        TAGS[0],
        description="line\n" * 800 + "END-OF-DESCRIPTION",
        inscriptions="x" * 4000,
        condition_at_receipt="y " * 2000,
    )
    out = io.BytesIO()
    write_inventory_pdf(factories.document([item]), out, NoPhotos())
    text = text_of(PdfReader(out))

    assert "END-OF-DESCRIPTION" in text
    assert text.count("x") >= 4000
    assert squeezed(f"continued: {factories.document([item]).items[0].tag_shown}") in text


def test_photos_are_whole_small_and_embedded_once() -> None:
    kept = factories.Photos()
    tall = kept.add(factories.photo_bytes("tall", 900, 2400))
    items = [factories.item(tag, photos=[tall]) for tag in TAGS[:3]]
    out = io.BytesIO()
    write_inventory_pdf(factories.document(items), out, kept)
    reader = PdfReader(out)
    names = {
        page["/Resources"]["/XObject"][name].indirect_reference.idnum  # type: ignore[index]
        for page in reader.pages
        for name in page.get("/Resources", {}).get("/XObject", {})
        if page["/Resources"]["/XObject"][name]["/Subtype"] == "/Image"  # type: ignore[index]
    }
    picture = next(image for page in reader.pages for image in page.images).image

    assert len(names) == 1
    assert picture is not None
    assert picture.width / picture.height == pytest.approx(900 / 2400, rel=0.01)
    assert picture.height <= 1100


@pytest.mark.parametrize("size", PageSize)
def test_photos_keep_their_shape_and_stay_within_the_margins(size: PageSize) -> None:
    kept = factories.Photos()
    shapes = {(1600, 1200), (900, 1600), (2400, 500), (300, 300)}
    digests = [kept.add(factories.photo_bytes(f"{w} by {h}", w, h)) for w, h in sorted(shapes)]
    items = [
        factories.item(tag, number, photos=(digests * 2)[number % 4 :][:number])
        for number, tag in enumerate(TAGS[:9])
    ]
    out = io.BytesIO()
    write_inventory_pdf(factories.document(items), out, kept, page_size=size)
    width, height = size.points
    seen = 0
    for page in pypdfium2.PdfDocument(out.getvalue()):
        boxes = []
        for image in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE]):
            left, foot, right, top = image.get_bounds()
            across, down = image.get_px_size()
            assert (right - left) / (top - foot) == pytest.approx(across / down, rel=0.01)
            assert MARGIN_PT - 0.5 <= left < right <= width - MARGIN_PT + 0.5
            assert MARGIN_PT - 0.5 <= foot < top <= height - MARGIN_PT + 0.5
            boxes.append((left, foot, right, top))
        seen += len(boxes)
        for place, (left, foot, right, top) in enumerate(boxes):
            for other in boxes[:place]:
                beside = left >= other[2] or right <= other[0]
                assert beside or foot >= other[3] or top <= other[1]
    assert seen == sum(len(item.photos) for item in items)


def test_a_piece_of_common_length_is_never_broken_and_pieces_share_pages() -> None:
    items = [factories.item(tag, number) for number, tag in enumerate(TAGS[:20])]
    out = io.BytesIO()
    document = factories.document(items)
    write_inventory_pdf(document, out, NoPhotos())
    pages = [squeezed(page.extract_text()) for page in PdfReader(out).pages]
    starts = [
        next(n for n, text in enumerate(pages) if f"Item{item.number}of20" in text)
        for item in document.items
    ]

    assert not any("continued:" in text for text in pages)
    assert len(set(starts)) <= 12
    for number, text in enumerate(pages):
        if number in starts:
            assert text.count("DECISION") == starts.count(number)
    # A heading never stands alone: an item begins on the page that names its room.
    for item in document.items:
        assert any(
            squeezed(item.room) in text and f"Item{item.number}of20" in text for text in pages
        )
    first = next(text for text in pages if "Items" in text and "Item1of20" in text)
    assert squeezed(document.items[0].name) in first


def test_cautions_about_a_piece_are_sentences_of_their_own() -> None:
    piece = factories.item(TAGS[0])
    said = replace(factories.assessment(), never=("Never let it dry in the roll", "Never rinse"))
    out = io.BytesIO()
    write_inventory_pdf(factories.document([piece], assessments={piece.tag: said}), out, NoPhotos())

    assert squeezed("Never let it dry in the roll. Never rinse.") in text_of(PdfReader(out))


def test_a_sum_of_no_estimates_is_no_estimate() -> None:
    piece = factories.item(TAGS[0])
    out = io.BytesIO()
    document = factories.document([piece], assessments={})
    write_inventory_pdf(document, out, NoPhotos())
    cover = squeezed(PdfReader(out).pages[0].extract_text())

    assert document.totals.everything.amounts[0].estimate_high == 0
    assert cover.count(squeezed(NO_ESTIMATE)) == 1
    estimated = io.BytesIO()
    write_inventory_pdf(factories.document([piece]), estimated, NoPhotos())
    cover = squeezed(PdfReader(estimated).pages[0].extract_text())
    assert squeezed("240.00 to 480.00") in cover
    assert squeezed(NO_ESTIMATE) not in cover


def test_where_a_photo_was_taken_stays_out_of_the_pdf() -> None:
    image = Image.new("RGB", (300, 200), "grey")
    exif = image.getexif()
    exif[0x010F] = "CAMERA-MAKER"
    exif.get_ifd(0x8825)[1] = "N"
    raw = io.BytesIO()
    image.save(raw, "JPEG", exif=exif, comment=b"TAKEN-AT-HOME")
    assert b"CAMERA-MAKER" in raw.getvalue()
    kept = factories.Photos()
    out = io.BytesIO()
    document = factories.document([factories.item(TAGS[0], photos=[kept.add(raw.getvalue())])])
    write_inventory_pdf(document, out, kept)

    assert b"\xff\xd8\xff" in out.getvalue()
    for trace in (b"CAMERA-MAKER", b"Exif\0", b"TAKEN-AT-HOME"):
        assert trace not in out.getvalue()


def test_a_photo_that_is_missing_or_broken_is_named_so() -> None:
    kept = factories.Photos()
    broken = kept.add(b"not a photo")
    many = ["ef" * 32, broken] * MOST_PHOTOS
    out = io.BytesIO()
    write_inventory_pdf(factories.document([factories.item(TAGS[0], photos=many)]), out, kept)
    text = text_of(PdfReader(out))

    assert text.count("hasnotcomein") == MOST_PHOTOS
    assert squeezed(f"{MOST_PHOTOS} more photos are in the record.") in text


def test_progress_counts_to_the_last_item(document: InventoryDocument) -> None:
    told: list[tuple[int, int]] = []
    write_inventory_pdf(
        document, io.BytesIO(), NoPhotos(), progress=lambda done, of: told.append((done, of))
    )

    count = len(document.items)
    assert told == [(number, count) for number in range(1, count + 1)]


def test_an_inventory_of_nothing_is_still_an_inventory() -> None:
    document = factories.document([])
    out = io.BytesIO()

    assert write_inventory_pdf(document, out, NoPhotos()) == len(PdfReader(out).pages)
    write_inventory_xlsx(document, io.BytesIO())
    write_inventory_csv(document, io.BytesIO())


# --- CSV --------------------------------------------------------------------------------------


def rows_of(document: InventoryDocument) -> list[dict[str, str]]:
    out = io.BytesIO()
    write_inventory_csv(document, out)
    return list(csv.DictReader(io.StringIO(out.getvalue().decode("utf-8"), newline="")))


def test_the_csv_reads_back_as_the_document(document: InventoryDocument) -> None:
    rows = rows_of(document)

    assert [as_entered(row["tag"]) for row in rows] == [item.tag_shown for item in document.items]
    for row, item in zip(rows, document.items, strict=True):
        assert as_entered(row["title"]) == item.identification.title
        assert int(row["quantity"]) == item.quantity
        for charged in item.costs.charged:
            assert Decimal(row[f"charged_{charged.currency}"]) == charged.amount
        if item.value:
            assert Decimal(row[f"value_{item.value.value.currency}"]) == item.value.value.amount
        if item.condition.received_at:
            received = datetime.fromisoformat(row["received_at"])
            assert received == item.condition.received_at
    first = rows[0]
    assert (first["height_cm"], first["width_cm"]) == ("61", "91.4")


def test_the_csv_is_rfc_4180(document: InventoryDocument) -> None:
    out = io.BytesIO()
    write_inventory_csv(document, out)
    data = out.getvalue()

    assert data.endswith(b"\r\n")
    assert not data.startswith(b"\xef\xbb\xbf")
    assert data.count(b"\r\n") == len(document.items) + 1
    lengths = {len(row) for row in csv.reader(io.StringIO(data.decode(), newline=""), strict=True)}
    assert lengths == {len(item_columns(document))}


def starts_formula(cell: str) -> bool:
    """Whether a spreadsheet could take a cell for a formula: written apart from the rule."""
    seen = unicodedata.normalize("NFKC", cell)
    visible = [
        each
        for each in seen
        if not each.isspace() and unicodedata.category(each) not in ("Cc", "Cf", "Mn")
    ]
    return bool(visible) and visible[0] in "=+-@|%"


@pytest.mark.parametrize("text", CELLS)
def test_hostile_cells_are_neutral_and_come_back(text: str) -> None:
    row = rows_of(factories.document([factories.item(TAGS[0], title=text, maker=text)]))[0]

    for cell in (row["title"], row["maker"]):
        assert not starts_formula(cell)
        assert cell[:1] not in ("\t", "\r", "\n", "\0")
        assert as_entered(cell) == text


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])))
@example("'")
@example("\0\0=")
@settings(deadline=None)
def test_neutralising_loses_nothing_and_leaves_no_formula(text: str) -> None:
    cell = neutralised(text)

    assert as_entered(cell) == text
    assert not starts_formula(cell)
    assert not cell.startswith("'") or cell == f"'{text}"


def test_an_ordinary_text_and_a_negative_number_are_left_alone() -> None:
    assert neutralised("Harbour - at low tide = calm") == "Harbour - at low tide = calm"
    charge = factories.item(TAGS[0]).charges[0].model_copy(update={"quantity": "-1.5"})
    row = rows_of(factories.document([factories.item(TAGS[0], charges=[charge])]))[0]
    assert row["charged_EUR"] == "-102.00"


# --- workbook ---------------------------------------------------------------------------------


def workbook_of(document: InventoryDocument) -> openpyxl.Workbook:
    out = io.BytesIO()
    write_inventory_xlsx(document, out)
    return openpyxl.load_workbook(out)


def test_the_workbook_holds_the_values_of_the_document(document: InventoryDocument) -> None:
    book = workbook_of(document)
    sheet = book["Items"]
    columns = item_columns(document)
    zone = ZoneInfo(document.loss.zone)

    assert book.sheetnames == ["Items", "Damage", "Treatment", "Costs", "Totals", "About"]
    assert [each.value for each in sheet[1]] == [column.heading for column in columns]
    for item, row in zip(document.items, sheet.iter_rows(min_row=2), strict=True):
        for column, found in zip(columns, row, strict=True):
            expected = column.value(item)
            assert isinstance(found, Cell)
            if expected in (None, ""):
                assert found.value is None
            elif isinstance(expected, datetime):
                assert found.is_date
                assert found.value == expected.astimezone(zone).replace(tzinfo=None)
            elif isinstance(expected, Decimal | int):
                assert found.data_type == "n"
                assert Decimal(str(found.value)) == expected
            else:
                assert found.data_type == "s"
                assert found.value == expected


def test_every_sheet_has_a_frozen_filtered_head(document: InventoryDocument) -> None:
    for sheet in workbook_of(document):
        assert sheet.freeze_panes is not None
        assert sheet.freeze_panes.endswith("2")
        assert sheet.auto_filter.ref == sheet.dimensions
        assert sheet.column_dimensions["B"].width > 10


def test_the_totals_sheet_is_the_totals(document: InventoryDocument) -> None:
    rows = list(workbook_of(document)["Totals"].iter_rows(min_row=2, values_only=True))
    everything = [row for row in rows if row[0] == "Everything"]

    assert [(row[4], Decimal(str(row[7]))) for row in everything] == [
        (total.currency, total.charged) for total in document.totals.everything.amounts
    ]


def test_hostile_cells_are_texts_in_the_workbook() -> None:
    items = [
        factories.item(tag, number, title=text, maker=text)
        for number, (tag, text) in enumerate(zip(TAGS, CELLS, strict=False))
    ]
    book = workbook_of(factories.document(items))
    titles = []
    for sheet in book:
        for row in sheet.iter_rows():
            for found in row:
                assert found.data_type != "f"
                assert found.hyperlink is None
    for found in book["Items"]["C"][1:]:
        assert found.quotePrefix
        # ECMA-376 Part 1, 22.9.2.19: the escapes of ST_Xstring, which this reader leaves in.
        titles.append(unescape(found.value))
    assert sorted(titles) == sorted(cell_text(text) for text in CELLS)


def test_a_text_too_long_for_a_cell_says_that_it_was_cut() -> None:
    cut = cell_text("\U0001f5bc" * 40_000)

    assert len(cut.encode("utf-16-le")) // 2 <= MOST_CHARACTERS
    assert cut.endswith("(cut here; the JSON has it whole)")
    assert cell_text("a" * MOST_CHARACTERS) == "a" * MOST_CHARACTERS


def test_no_control_character_reaches_the_workbook() -> None:
    assert cell_text("a\0b\x1fc\r\nd\re") == "a\u2400b\u241fc\nd\ne"


# --- JSON -------------------------------------------------------------------------------------


def test_the_json_is_the_document(document: InventoryDocument, tmp_path: Path) -> None:
    target, memory = tmp_path / "inventory.json", io.BytesIO()
    assert write_inventory_json(document, target) == len(document.items)
    write_inventory_json(document, memory)

    assert target.read_bytes() == memory.getvalue()
    assert json.loads(target.read_text("utf-8"))["format"] == "lagan-inventory/1"
    assert InventoryDocument.model_validate_json(target.read_bytes()) == document
