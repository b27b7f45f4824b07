"""The page of figures and sources: filters, pages, files."""

import hashlib
import io
import re

import pytest
from pypdf import PdfReader
from starlette.testclient import TestClient

from service.office.science import PAGE, Wanted, page_of
from service.reports.science import science_document
from shared.facts import facts, load_facts


def test_the_page_counts_by_mark_and_names_the_version(client: TestClient) -> None:
    text = client.get("/science").text
    bare = text.replace("<wbr>", "")
    document = science_document(facts())
    assert document.version in bare and document.digest in bare
    for count in document.marks.values():
        assert f">{count}</a>" in text
    assert "This facility has changed nothing" in text
    for group in document.groups:
        assert f'href="/science?group={group.key}#entries"' in text


def test_filters_are_plain_addresses(client: TestClient) -> None:
    text = client.get("/science", params={"q": "ozone niosh_idlh", "group": "limits"}).text
    assert "1 entry." in text
    assert "Ozone: NIOSH IDLH" in text and "5 ppm" in text
    assert 'value="ozone niosh_idlh"' in text
    assert '<option value="limits" selected>' in text
    assert "Nothing fits" in client.get("/science", params={"q": "xylophone"}).text


def test_every_entry_is_on_some_page() -> None:
    document = science_document(facts())
    seen = 0
    _, found, _, pages = page_of(document, Wanted())
    for number in range(1, pages + 1):
        shown, _, at, _ = page_of(document, Wanted(page=number))
        assert at == number
        count = sum(len(one.entries) for one in shown)
        assert 1 <= count <= PAGE
        seen += count
    assert seen == found == document.entries


@pytest.mark.parametrize("page", [-5, 0, 10**9])
def test_a_page_beyond_the_ends_is_the_nearest(client: TestClient, page: int) -> None:
    answer = client.get("/science", params={"page": page})
    assert answer.status_code == 200
    assert re.search(r"page \d+ of \d+", answer.text)


def test_marks_and_changes_can_be_asked_for() -> None:
    document = science_document(
        load_facts(
            "table,key,column,value,signed_by,reason\n"
            "materials,oil_canvas,window_h,6,R. Vos,our own trials\n"
        )
    )
    shown, found, _, _ = page_of(document, Wanted(mark="changed"))
    assert found == 1 and shown[0].entries[0].key == "oil_canvas"
    _, memory, _, _ = page_of(document, Wanted(mark="from_memory"))
    _, published, _, _ = page_of(document, Wanted(mark="published"))
    assert memory and published and memory != published


def test_what_is_typed_is_escaped(client: TestClient) -> None:
    text = client.get("/science", params={"q": "<script>alert(1)</script>"}).text
    assert "<script>alert(1)" not in text
    assert "&lt;script&gt;alert(1)" in text


def test_the_files(client: TestClient) -> None:
    table = client.get("/science.csv")
    assert table.headers["content-type"].startswith("text/csv")
    assert hashlib.sha256(table.content).hexdigest() == science_document(facts()).digest
    paper = client.get("/science.pdf", params={"paper": "letter"})
    reader = PdfReader(io.BytesIO(paper.content))
    assert round(float(reader.pages[0].mediabox.width)) == 612
    assert client.get("/science.pdf", params={"paper": "napkin"}).status_code == 422
