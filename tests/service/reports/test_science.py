"""The listing of every figure: nothing is left out, and each has its source and mark."""

import csv
import hashlib
import io
import re
from datetime import UTC, datetime

import pytest
from pypdf import PdfReader

from labels.paper import PageSize
from service.reports.inventory_csv import as_entered
from service.reports.science import (
    CONSTANTS,
    MARK_WORDS,
    Entry,
    ScienceDocument,
    fact_books,
    science_document,
)
from service.reports.science_pdf import write_science_pdf
from shared import air, drying, gas, mould, quantities
from shared.facts import Facts, facts, load_facts
from shared.quantities import Mark
from tests.labels.pdf_reading import text_of

AT = datetime(2031, 5, 6, 9, 0, tzinfo=UTC)
HEADER = "table,key,column,value,signed_by,reason\n"
CHANGES = (
    HEADER + "materials,oil_canvas,window_h,6,R. Vos,our own trials <b>1999</b>\n"
    "constants,immediate_h,value,8,L. Moor,seen and kept\n"
)


@pytest.fixture(scope="module")
def shipped() -> ScienceDocument:
    return science_document(facts())


@pytest.fixture(scope="module")
def changed() -> Facts:
    return load_facts(CHANGES)


def entry(document: ScienceDocument, group: str, key: str) -> Entry:
    return next(
        one
        for found in document.groups
        if found.key == group
        for one in found.entries
        if one.key == key
    )


def said(one: Entry) -> dict[str, str]:
    return {figure.what: figure.text for figure in one.figures}


def test_every_row_of_every_table_is_listed(shipped: ScienceDocument) -> None:
    tables = [group for group in shipped.groups if not group.key.startswith(CONSTANTS)]
    rows = list(facts().rows())
    assert sum(len(group.entries) for group in tables) == len(rows)
    assert {group.key for group in tables} == {table for table, _ in rows}
    for group in tables:
        keys = [one.key for one in group.entries]
        assert len(set(keys)) == len(keys)


def test_every_constant_of_every_module_is_listed(shipped: ScienceDocument) -> None:
    assert {name for name, _, _ in fact_books()} >= {"air", "drying", "gas", "mould", "quantities"}
    for module in (air, drying, gas, mould, quantities):
        name = module.__name__.removeprefix("shared.")
        group = next(one for one in shipped.groups if one.key == f"{CONSTANTS}{name}")
        assert [one.key for one in group.entries] == [fact.name for fact in module.FACTS]
        assert [one.source for one in group.entries] == [fact.source for fact in module.FACTS]


def test_every_entry_says_something_and_has_source_and_mark(shipped: ScienceDocument) -> None:
    for group in shipped.groups:
        assert group.title and group.about and group.entries
        for one in group.entries:
            assert one.figures and all(figure.value for figure in one.figures), one
            assert one.source.strip() and one.mark in MARK_WORDS
            assert "_" not in one.name, one.name
            for figure in one.figures:
                assert "_" not in figure.what, (group.key, figure)


def test_counts_by_mark_add_up(shipped: ScienceDocument) -> None:
    assert sum(shipped.marks.values()) == shipped.entries
    for mark in Mark:
        assert shipped.marks.get(mark, 0) == sum(
            group.marks.get(mark, 0) for group in shipped.groups
        )
    assert shipped.marks[Mark.FROM_MEMORY] > 0, "what nobody has checked must not be hidden"


@pytest.mark.parametrize(
    ("group", "key", "what", "value"),
    [
        ("materials", "oil_canvas", "window", "8 h"),
        ("limits", "ozone/osha_pel_twa", "value", "0.1 ppm"),
        ("drying_bodies", "panel", "diffusivity", "2 × 10^-10 m²/s"),
        ("room_set_points", "paper", "RH low", "40 %"),
        ("work_times", "stabilise", "more by area", "30 min/m²"),
        ("spacings", "fumigation_headspace_m", "value", "0.4572 m"),
        ("permissions", "oil_canvas/freeze_wet", "permission", "Not allowed"),
        ("gases", "ozone", "molar mass", "47.998 g/mol"),
        ("constants-quantities", "molar gas constant R", "value", "8.314462618 J/(mol K)"),
        ("constants-air", "standard sea-level pressure", "value", "101325 Pa"),
        ("constants-drying", "commercial moisture regain", "wool", "0.136 kg/kg dry"),
    ],
)
def test_figures_read_as_they_were_written(
    shipped: ScienceDocument, group: str, key: str, what: str, value: str
) -> None:
    assert said(entry(shipped, group, key))[what] == value


def test_names_are_those_people_use(shipped: ScienceDocument) -> None:
    assert entry(shipped, "limits", "ozone/niosh_idlh").name == "Ozone: NIOSH IDLH"
    assert entry(shipped, "mould_conditions", "3").name == "Condition 3"
    assert entry(shipped, "denials", "ozone/silver/").name == "Ozone: Silver"


def test_keys_and_columns_are_those_of_a_file_of_changes(shipped: ScienceDocument) -> None:
    """A change written from the listing's own group, key and column is accepted."""
    for group in shipped.groups:
        if group.key.startswith(CONSTANTS):
            continue
        one = group.entries[-1]
        row = [row for table, row in facts().rows() if table == group.key][-1]
        column = next(
            f.column for f in one.figures if isinstance(getattr(row, f.column), str | float)
        )
        value = getattr(row, column)
        out = io.StringIO()
        csv.writer(out).writerow([group.key, one.key, column, value, "R. Vos", "kept"])
        assert load_facts(HEADER + out.getvalue()).changed, (group.key, column)


# --- a facility's own changes -------------------------------------------------------------------


def test_nothing_is_changed_as_shipped(shipped: ScienceDocument) -> None:
    assert shipped.changes == ()
    assert shipped.version == facts().version


def test_changes_name_before_after_who_and_why(changed: Facts) -> None:
    document = science_document(changed)
    first, second = document.changes
    assert (first.entry.name, first.what, first.before, first.after) == (
        *("Oil on canvas", "window"),
        *("8 h", "6 h"),
    )
    assert first.signed_by == "R. Vos" and "our own trials" in first.source
    assert (second.what, second.before) == ("signed anew", "as shipped")
    assert document.version != facts().version
    assert entry(document, "materials", "oil_canvas").changed_by == "R. Vos"
    assert entry(document, "materials", "oil_canvas").mark is Mark.COMMON_PRACTICE


# --- files --------------------------------------------------------------------------------------


def test_the_csv_holds_every_figure_and_its_digest_is_stated(shipped: ScienceDocument) -> None:
    rows = list(csv.DictReader(io.StringIO(shipped.csv_bytes.decode(), newline="")))
    figures = [f for group in shipped.groups for one in group.entries for f in one.figures]
    assert len(rows) == len(figures)
    assert [as_entered(row["value"]) for row in rows] == [figure.value for figure in figures]
    assert shipped.digest == hashlib.sha256(shipped.csv_bytes).hexdigest()


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


@pytest.mark.parametrize(("paper", "width"), [(PageSize.A4, 595), (PageSize.LETTER, 612)])
def test_the_pdf_lists_everything_with_bookmarks(
    changed: Facts, paper: PageSize, width: int
) -> None:
    document = science_document(changed)
    out = io.BytesIO()
    pages = write_science_pdf(document, out, prepared_at=AT, zone="Europe/Dublin", page_size=paper)
    reader = PdfReader(out)
    assert pages == len(reader.pages)
    assert round(float(reader.pages[0].mediabox.width)) == width
    assert reader.metadata is not None and reader.metadata.title == "Figures and sources"
    assert str(reader.root_object["/Lang"]) == "en"
    text = squeezed(text_of(out.getvalue()))
    for group in document.groups:
        for one in group.entries:
            assert squeezed(one.name) in text, one.name
    for number in (1, pages):
        assert squeezed(f"Page {number} of {pages}") in text
    assert squeezed("our own trials <b>1999</b>") in text
    assert document.version in text and document.digest in text

    titles = [
        str(one.title)
        for part in reader.outline
        for one in (part if isinstance(part, list) else [part])
        if not isinstance(one, list)
    ]
    assert titles[:3] == [
        "Figures and sources",
        "Changed by this facility",
        "How far the figures can be trusted",
    ]
    assert titles[3:] == [group.title for group in document.groups]
    early = squeezed(reader.pages[0].extract_text())
    assert early.index("Changedbythisfacility") < early.index("Howfarthefigures")
