"""The truck's manifest, read back by another library."""

import io
import re
from datetime import timedelta

import pytest
from pypdf import PdfReader

from labels.codes import list_url, show_tag
from labels.paper import PageSize
from service.reports.manifest_pdf import write_manifest_pdf
from shared.facts import facts
from shared.records import Handover, Item, Manifest
from tests.labels.pdf_reading import page_images, qr_texts
from tests.service.reports import factories
from tests.service.reports.hostile import MARKUP

TAGS = factories.tags(30)
ITEMS = {tag: factories.item(tag, number) for number, tag in enumerate(TAGS[:28])}


def manifest(**changes: object) -> Manifest:
    made = Manifest(
        manifest="T-1",
        loss="L-2026-004",
        vehicle="Van 2 (invented)",
        tags=TAGS[:29],
        leaves_at=factories.PREPARED_AT,
        expected_at=factories.PREPARED_AT + timedelta(hours=3),
    )
    return made.model_copy(update=changes)


def read(
    listed: Manifest, items: dict[str, Item] | None = None, **options: object
) -> tuple[PdfReader, str]:
    out = io.BytesIO()
    settings: dict[str, object] = {
        "loss": factories.loss(),
        "prepared_at": factories.PREPARED_AT,
        "notice": factories.NOTICE,
        "known": facts(),
        **options,
    }
    found = ITEMS if items is None else items
    pages = write_manifest_pdf(listed, found, out, **settings)  # type: ignore[arg-type]
    reader = PdfReader(out)
    assert pages == len(reader.pages)
    return reader, squeezed("".join(page.extract_text() for page in reader.pages))


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def test_every_piece_is_listed_with_what_carriers_need() -> None:
    never = {TAGS[0]: ("Never lay face down.", "Never stack it", "Never wrap it tightly")}
    reader, text = read(manifest(), never=never)

    for tag in manifest().tags:
        assert squeezed(show_tag(tag)) in text
    for item in ITEMS.values():
        assert squeezed(item.title) in text
        assert str(item.container) in text
    assert squeezed("Never lay face down. Never stack it. Never wrap it tightly.") in text
    assert squeezed("No record of this tag has come in yet") in text
    assert squeezed("29 tags · 28 objects · 9 containers") in text
    for words in ("Released from site", "Driver", "Received at facility"):
        assert squeezed(words) in text
    for number, page in enumerate(reader.pages, start=1):
        printed = squeezed(page.extract_text())
        assert squeezed(f"Page {number} of {len(reader.pages)}") in printed
        assert squeezed(factories.NOTICE) in printed


def test_before_arrival_nothing_is_called_missing() -> None:
    _, text = read(manifest())

    assert "Missing" not in text
    assert "Onarrival" not in text


def test_on_arrival_missing_and_surplus_are_named() -> None:
    _, text = read(manifest(received=[*TAGS[:27], TAGS[29]]))

    assert squeezed("27 of 29 listed pieces received.") in text
    assert squeezed(f"Missing: 2 {show_tag(TAGS[27])} {ITEMS[TAGS[27]].title}") in text
    assert squeezed(f"Surplus: 1 {show_tag(TAGS[29])}") in text


def test_delays_and_hand_overs_are_shown() -> None:
    handover = Handover(
        given_by="Bo Lund", taken_by="D. River", signature="ab" * 32, at="2026-03-20T10:00:00Z"
    )
    _, text = read(manifest(delays=["ford closed"], handovers=[handover]))

    assert "fordclosed" in text
    assert squeezed("Bo Lund to D. River") in text
    assert "ab" * 32 in text


def test_markup_is_shown_as_typed() -> None:
    items = {
        tag: factories.item(tag, title=words) for tag, words in zip(TAGS, MARKUP, strict=False)
    }
    _, text = read(manifest(tags=list(items)), items)

    for words in MARKUP:
        assert squeezed(words) in text


@pytest.mark.parametrize(
    ("size", "points"), [(PageSize.A4, (842, 595)), (PageSize.LETTER, (792, 612))]
)
def test_the_sheet_lies(size: PageSize, points: tuple[int, int]) -> None:
    reader, _ = read(manifest(), page_size=size)
    box = reader.pages[0].mediabox

    assert (round(float(box.width)), round(float(box.height))) == points


def test_a_manifest_of_another_loss_is_refused() -> None:
    with pytest.raises(ValueError, match="T-1 belongs to loss L-9, not L-2026-004"):
        read(manifest(loss="L-9"))


@pytest.mark.parametrize("page_size", list(PageSize))
@pytest.mark.parametrize("name", ["PHONE-0A1B2C3D4E5F-17", "phone_0a1b2c3d4e5f.17"])
def test_the_list_has_a_code_that_another_library_reads(page_size: PageSize, name: str) -> None:
    listed = manifest(manifest=name)
    address = list_url("https://tags.example", "L-2026-004", name)
    out = io.BytesIO()
    write_manifest_pdf(
        listed,
        ITEMS,
        out,
        loss=factories.loss(),
        prepared_at=factories.PREPARED_AT,
        address=address,
        notice=factories.NOTICE,
        page_size=page_size,
        known=facts(),
    )
    first, *rest = page_images(out.getvalue())
    assert qr_texts(first) == [address]
    assert all(qr_texts(page) == [] for page in rest)
