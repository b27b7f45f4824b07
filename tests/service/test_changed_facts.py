"""A facility's own figures: read once, refused with the mend, used everywhere and always said."""

import csv
import html
import io
import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import openpyxl
import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner

from service.app import create_app
from service.changed_facts import changes_note, facts_of
from service.cli import app as command_line
from service.facility.planning import build_problem
from service.facility.sheets import RunPaper, run_sheet, write_sheets
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.reports.issue import InventoryFormat, inventory_from, write_inventory
from service.reports.manifest_pdf import write_manifest_pdf
from service.settings import Settings
from shared import events as ev
from shared.facts import Facts, FactsError, facts, load_facts
from shared.records import Manifest
from shared.vocabulary import Damage, Material
from tests.labels.pdf_reading import text_of
from tests.service.conftest import Clock
from tests.service.facility.house import (
    AIR,
    CANVAS,
    CHAMBER,
    VASE,
    bring,
    furnish,
    open_run,
    say,
    why_not_loaded,
)
from tests.writers import LOSS

HEADER = "table,key,column,value,signed_by,reason\n"
CHANGES = (
    HEADER + "materials,oil_canvas,window_h,2,R. Vos,our own trials\n"
    "agents,carbon_air,default,no,L. Moor,<b>filter</b> & fan are being rebuilt\n"
    "work_times,stabilise,base_min,300,R. Vos,timed last winter\n"
)
SHIPPED_H = facts().materials[Material.OIL_CANVAS].window_h
WHO_AND_WHY = f"window_h 2 instead of {SHIPPED_H:g} as shipped (R. Vos: our own trials)"
MARKED_UP = "default no instead of yes as shipped (L. Moor: <b>filter</b> & fan are being rebuilt)"


def squeezed(text: str) -> str:
    return "".join(text.split())


@pytest.fixture
def folder(tmp_path: Path, blank_database: Path) -> Path:
    """An installation's folder with a file of changes."""
    settings = Settings(folder=tmp_path / "own")
    settings.folder.mkdir()
    shutil.copy(blank_database, settings.database)
    settings.facts_changes.write_text(CHANGES, encoding="utf-8")
    return settings.folder


@pytest.fixture
def own(folder: Path, clock: Clock) -> Iterator[Installation]:
    """An installation that works with its own figures; a canvas and a vase are in the house."""
    installation = Installation(Settings(folder=folder), now=clock)
    furnish(installation)
    bring(installation, VASE)
    bring(installation, CANVAS, Damage.SOAKED, materials=(Material.OIL_CANVAS,))
    yield installation
    installation.close()


@pytest.fixture
def visitor(own: Installation) -> Iterator[TestClient]:
    with TestClient(create_app(own)) as found:
        yield found


# --- the file -----------------------------------------------------------------------------------


def test_without_a_file_the_facts_are_those_shipped(here: Installation) -> None:
    assert here.facts is facts()
    assert changes_note(here.facts) == ""


def test_a_file_saved_by_a_spreadsheet_is_read(tmp_path: Path) -> None:
    file = tmp_path / "facts-changes.csv"
    file.write_bytes(b"\xef\xbb\xbf" + CHANGES.replace("\n", "\r\n").encode())
    assert facts_of(file).version == load_facts(CHANGES).version


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("materials,oil_canvas,window_h,soon,R. Vos,x", "row 2 (materials.csv), column window_h"),
        (
            "materials,oil_canvass,window_h,6,R. Vos,x",
            "row 2, column key: materials.csv has no row 'oil_canvass'",
        ),
        ("materials,oil_canvas,window,6,R. Vos,x", "column 'window': no such column"),
        ("materials,oil_canvas,window_h,6,,x", "row 2, column signed_by: empty; fill it in"),
        ("materials,oil_canvas,window_h,6,R. Vos,", "row 2, column reason: empty; fill it in"),
        (
            "limits,ozone/clearance,value,50,R. Vos,x",
            "protects people, so a facility may only lower it",
        ),
    ],
)
def test_a_wrong_file_names_file_row_column_and_mend(folder: Path, row: str, said: str) -> None:
    file = folder / "facts-changes.csv"
    file.write_text(f"{HEADER}{row}\n", encoding="utf-8")
    with pytest.raises(FactsError) as error:
        Installation(Settings(folder=folder))
    assert str(error.value).startswith(str(file))
    assert said in str(error.value)

    ended = CliRunner().invoke(command_line, ["serve", "--data", str(folder)])
    assert ended.exit_code == 1
    assert isinstance(ended.exception, SystemExit), "told in a sentence, without a traceback"
    assert ended.stdout == ""
    assert ended.stderr == f"lagan: {error.value}\n"


def test_a_file_in_another_encoding_is_refused(folder: Path) -> None:
    (folder / "facts-changes.csv").write_bytes(CHANGES.encode("utf-16"))
    with pytest.raises(FactsError, match="save it as CSV in UTF-8"):
        Installation(Settings(folder=folder))


def test_a_file_that_is_no_csv_is_refused(folder: Path) -> None:
    file = folder / "facts-changes.csv"
    file.write_text(HEADER + 'materials,oil_canvas,window_h,"6,R. Vos,x\n', encoding="utf-8")
    with pytest.raises(FactsError) as error:
        Installation(Settings(folder=folder))
    assert str(error.value).startswith(str(file))


# --- used everywhere ----------------------------------------------------------------------------


def test_triage_on_the_phone_and_on_the_page(own: Installation, visitor: TestClient) -> None:
    table = visitor.get("/api/facts").json()
    assert table["version"] == own.facts.version != facts().version
    row = next(one for one in table["tables"]["materials"] if one["material"] == "oil_canvas")
    assert row["window_h"] == 2

    triage = visitor.get(f"/api/items/{CANVAS}").json()["triage"]
    assert triage["window_h"] == 2
    assert triage["facts_version"] == own.facts.version
    assert any(WHO_AND_WHY in one for one in triage["changed_facts"])


def test_the_door_of_the_chamber(own: Installation, here: Installation) -> None:
    open_run(own, VASE, programme=AIR)
    refused = why_not_loaded(own, VASE)
    assert refused is not None and "not allowed" in refused

    furnish(here)
    bring(here, VASE)
    open_run(here, VASE, programme=AIR)
    assert why_not_loaded(here, VASE) is None, "as shipped it goes in"


def test_the_planner(own: Installation) -> None:
    def stabilising(known: Facts) -> int:
        with own.database.read() as session:
            planning = build_problem(session, own.now(), known=known)
        item = next(one for one in planning.problem.items if one.id == CANVAS)
        return next(step.min_min for step in item.steps if step.id == "stabilise")

    assert stabilising(own.facts) >= 300 > stabilising(facts())


# --- and always said ----------------------------------------------------------------------------


def test_the_note_names_every_change(own: Installation) -> None:
    note = changes_note(own.facts)
    assert f"materials, oil_canvas: {WHO_AND_WHY}" in note
    assert f"agents, carbon_air: {MARKED_UP}" in note
    assert "base_min 300 instead of " in note


def written(own: Installation, form: InventoryFormat) -> bytes:
    out = io.BytesIO()
    document = inventory_from(own, EVERYTHING, LOSS, prepared_by="Test")
    write_inventory(document, form, out, own.photos)
    return out.getvalue()


def test_the_inventory_in_every_form(own: Installation) -> None:
    note = changes_note(own.facts)
    assert squeezed(note) in squeezed(text_of(written(own, InventoryFormat.PDF)))

    data = json.loads(written(own, InventoryFormat.JSON))
    assert note in data["method"] and data["changed_facts"] == note

    rows = list(csv.DictReader(io.StringIO(written(own, InventoryFormat.CSV).decode(), newline="")))
    assert rows and {row["changed_facts"] for row in rows} == {note}

    book = openpyxl.load_workbook(io.BytesIO(written(own, InventoryFormat.XLSX)))
    cells = {str(cell.value) for sheet in book for row in sheet.iter_rows() for cell in row}
    assert note in cells


def test_an_inventory_by_the_facts_as_shipped_says_nothing(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    document = inventory_from(here, EVERYTHING, LOSS, prepared_by="Test")
    assert document.changed_facts == ""
    assert not any("changed" in sentence for sentence in document.method)
    text = written(here, InventoryFormat.CSV).decode()
    assert "changed_facts" not in text


def test_the_run_sheet_and_the_manifest(own: Installation) -> None:
    paper = RunPaper(title="run-1", chamber=CHAMBER, programme=AIR, tags=(VASE,), times=())
    with own.database.read() as session:
        book = reading.facility(session)
        sheet = run_sheet(session, paper, book, own.now(), own.facts)
        plain = run_sheet(session, paper, book, own.now(), facts())
        loss = reading.loss(session, EVERYTHING, LOSS)
        vase = reading.item(session, EVERYTHING, VASE)
    note = changes_note(own.facts)
    assert sheet.cautions[-1] == note and note not in plain.cautions
    out = io.BytesIO()
    write_sheets(out, [sheet], title="run-1")
    assert squeezed(WHO_AND_WHY) in squeezed(text_of(out.getvalue()))

    assert loss is not None and vase is not None
    carried = Manifest(manifest="T-1", loss=LOSS, vehicle="Van (invented)", tags=[VASE])
    out = io.BytesIO()
    write_manifest_pdf(
        carried, {VASE: vase}, out, loss=loss, prepared_at=own.now(), known=own.facts
    )
    assert squeezed(WHO_AND_WHY) in squeezed(text_of(out.getvalue()))


def words_of(page: str) -> str:
    return squeezed(html.unescape(page))


@pytest.mark.parametrize(
    "address",
    [
        "/crew/",
        "/facility/",
        f"/facility/items/{CANVAS}",
        "/facility/plan",
        "/facility/runs",
        "/adjuster/",
        f"/adjuster/losses/{LOSS}/items/{CANVAS}",
        "/office/",
        "/science",
    ],
)
def test_every_page_says_it(visitor: TestClient, address: str) -> None:
    answer = visitor.get(address)
    assert answer.status_code == 200
    for words in (WHO_AND_WHY, MARKED_UP):
        assert squeezed(words) in words_of(answer.text)
    assert "<b>filter" not in answer.text


@pytest.mark.parametrize("address", ["/facility/plan", "/science", "/adjuster/", "/crew/"])
def test_a_plain_installation_shows_no_warning(client: TestClient, address: str) -> None:
    assert "Changed figures" not in client.get(address).text


def test_the_figures_in_every_form(visitor: TestClient) -> None:
    page = visitor.get("/science").text
    assert page.index("Changed by this facility") < page.index("By group")
    assert "<strong>2 h</strong>" in page
    assert squeezed(WHO_AND_WHY) in squeezed(text_of(visitor.get("/science.pdf").content))
    rows = list(csv.DictReader(io.StringIO(visitor.get("/science.csv").text, newline="")))
    told = {row["source"] for row in rows if row["changed_by"] == "R. Vos"}
    assert any(WHO_AND_WHY in source for source in told)


def test_facts_are_read_once(own: Installation, folder: Path) -> None:
    before = own.facts.version
    (folder / "facts-changes.csv").unlink()
    say(own, ev.ItemMoved(tag=VASE, station="bench"))
    assert own.facts.version == before
