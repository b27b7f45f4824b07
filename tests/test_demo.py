"""The whole job on a small invented scenario: every document is there, opens, and agrees."""

import csv
import json
from pathlib import Path

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from demo_data.scenario import build
from scheduler.check import check
from scheduler.plan import read_plan
from scheduler.problem import read_problem
from service.demo import DemoError, Summary, run_demo
from service.log.custody import verify_bundle

PDFS = ("tags", "manifest", "run-sheets", "inventory")


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Summary:
    """The demonstration, once."""
    scenario = build(1, pictures=False, fire_pieces=60, flood_pieces=60)
    return run_demo(tmp_path_factory.mktemp("demo"), scenario=scenario, seconds=6)


def test_every_event_of_every_phone_is_stored(done: Summary) -> None:
    assert done.facts["events"] == done.facts["events_stored"] > 500
    assert done.facts["conflicts"] >= 1


def test_two_runs_go_from_loading_to_opening_and_one_is_refused_first(done: Summary) -> None:
    runs = done.facts["runs"]
    assert len(runs) == 2
    assert any(run["gas_readings"] and run["openings_refused"] for run in runs)


@pytest.mark.parametrize("name", PDFS)
def test_every_paper_opens_and_has_text(done: Summary, name: str) -> None:
    pages = PdfReader(done.out / f"{name}.pdf").pages
    assert len(pages[0].extract_text()) > 40


def test_the_plan_written_passes_the_verifier(done: Summary) -> None:
    report = check(read_problem(done.out / "problem.json"), read_plan(done.out / "plan.json"))
    assert report.passed, report.first


def test_the_inventory_says_the_same_in_every_form(done: Summary) -> None:
    document = json.loads((done.out / "inventory.json").read_text(encoding="utf-8"))
    tags = [item["tag"] for item in document["items"]]
    with (done.out / "inventory.csv").open(newline="", encoding="utf-8-sig") as file:
        rows = list(csv.reader(file))
    sheet = load_workbook(done.out / "inventory.xlsx")["Items"]
    in_sheet = {str(cell) for row in sheet.iter_rows(values_only=True) for cell in row}
    in_csv = {cell for row in rows for cell in row}
    text = "".join(page.extract_text() for page in PdfReader(done.out / "inventory.pdf").pages)
    assert len(rows) == len(tags) + 1
    assert set(tags) <= {cell.replace("-", "") for cell in in_csv}
    assert set(tags) <= {cell.replace("-", "") for cell in in_sheet}
    squeezed = text.replace("-", "").replace(" ", "").replace("\n", "")
    assert [tag for tag in tags if tag not in squeezed] == []


def test_the_custody_bundle_holds(done: Summary) -> None:
    assert verify_bundle(done.out / "custody.zip").intact


def test_a_folder_that_is_no_demonstration_is_never_cleared(tmp_path: Path) -> None:
    kept = tmp_path / "installation" / "lagan.db"
    kept.parent.mkdir()
    kept.write_text("somebody's real record")
    with pytest.raises(DemoError, match="no demonstration"):
        run_demo(tmp_path, seconds=5)
    assert kept.read_text() == "somebody's real record"
