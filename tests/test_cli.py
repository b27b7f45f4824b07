"""The command line: examples in the help, exit codes, and errors that name the mend."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pypdf import PdfReader
from typer.testing import CliRunner, Result

from service.cli import app
from service.installation import Installation
from service.settings import Settings
from tests.writers import LOSS, Writer, opened, plain

COMMANDS = ["serve", "tags", "facility", "import", "plan", "check"]
COMMANDS += ["inventory", "custody", "verify", "demo"]


def lagan(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """An installation with one loss and nothing in it yet."""
    here = Installation(Settings(folder=tmp_path / "data"))
    here.log.append(plain(Writer().say(opened())))
    here.close()
    return tmp_path / "data"


@pytest.fixture
def problem(tmp_path: Path) -> Path:
    """Two pieces and one bench."""
    step = {"kind": "bench", "id": "clean", "stations": ["bench"], "min_min": 30}
    document = {
        "epoch": datetime(2031, 5, 6, tzinfo=UTC).isoformat().replace("+00:00", "Z"),
        "horizon_min": 1000,
        "stations": [{"kind": "bench", "id": "bench", "shifts": [[0, 1000, 1]]}],
        "items": [{"id": name, "due_min": 40, "steps": [step]} for name in ("a", "b")],
    }
    path = tmp_path / "problem.json"
    path.write_text(json.dumps(document))
    return path


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_an_example_in_its_help(command: str) -> None:
    result = lagan(command, "--help")
    assert result.exit_code == 0
    assert f"lagan {command}" in result.output


def test_bad_usage_is_exit_two(tmp_path: Path) -> None:
    assert lagan("tags", "--count", "0", "--out", tmp_path / "t.pdf").exit_code == 2
    assert lagan("no-such-command").exit_code == 2
    unknown = lagan("tags", "--count", "1", "--layout", "nowhere", "--out", tmp_path / "t.pdf")
    assert unknown.exit_code == 2


def test_tags_are_printed_ahead(tmp_path: Path) -> None:
    result = lagan("tags", "--count", 25, "--layout", "a4-3x8", "--out", tmp_path / "tags.pdf")
    assert result.exit_code == 0, result.output
    assert len(PdfReader(tmp_path / "tags.pdf").pages) == 2


def test_a_plan_is_made_checked_and_refused_when_broken(problem: Path, tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    made = lagan("plan", problem, "--seconds", 5, "--out", plan, "--json")
    assert made.exit_code == 0, made.output
    facts = json.loads(made.stdout)
    assert (facts["objective"], facts["bound"], facts["status"]) == (20, 20, "optimal")
    assert lagan("check", problem, plan).exit_code == 0

    broken = json.loads(plan.read_text())
    broken["placements"][1] |= {"start": 0, "end": 30}
    broken["placements"][0] |= {"start": 0, "end": 30}
    plan.write_text(json.dumps(broken))
    result = lagan("check", problem, plan, "--json")
    assert result.exit_code == 1
    assert any("bench" in breach for breach in json.loads(result.stdout)["breaches"])


def test_a_problem_that_contradicts_itself_is_named(problem: Path, tmp_path: Path) -> None:
    document = json.loads(problem.read_text())
    document["items"][0]["steps"][0]["stations"] = ["nowhere"]
    problem.write_text(json.dumps(document))
    result = lagan("plan", problem, "--out", tmp_path / "plan.json")
    assert result.exit_code == 2
    assert "nowhere" in result.output


def test_an_import_with_a_bad_row_takes_nothing_unless_partial(data: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "crew.csv"
    sheet.write_text(
        "Title,Medium,Size,Damage\n"
        "Harbour,oil on canvas,24 x 36 in.,soot\n"
        "Riddle,unobtainium on moonbeam,61 x 91.4 cm,soot\n"
    )
    refused = lagan("import", sheet, "--loss", LOSS, "--data", data, "--json")
    assert refused.exit_code == 1
    assert json.loads(refused.stdout)["pieces_stored"] == 0
    partial = lagan("import", sheet, "--loss", LOSS, "--data", data, "--partial", "--json")
    assert partial.exit_code == 1
    found = json.loads(partial.stdout)
    assert found["pieces_stored"] == 1
    assert "row 3, Medium" in found["first_problems"][0]
    again = lagan("import", sheet, "--loss", LOSS, "--data", data, "--partial", "--json")
    assert json.loads(again.stdout)["pieces_already_stored"] == 1


@pytest.mark.parametrize("form", ["pdf", "xlsx", "csv", "json"])
def test_an_inventory_is_written_in_each_form(data: Path, tmp_path: Path, form: str) -> None:
    out = tmp_path / f"inventory.{form}"
    result = lagan("inventory", LOSS, "--format", form, "--out", out, "--data", data)
    assert result.exit_code == 0, result.output
    assert out.stat().st_size > 0
    missing = lagan("inventory", "NOWHERE", "--format", form, "--out", out, "--data", data)
    assert missing.exit_code == 2


def test_custody_is_written_verified_and_refused_when_tampered(data: Path, tmp_path: Path) -> None:
    bundle = tmp_path / "custody.zip"
    written = lagan("custody", LOSS, "--out", bundle, "--data", data)
    key = written.stdout.splitlines()[-1].removeprefix("key: ")
    assert lagan("verify", bundle, "--key", key).exit_code == 0
    result = lagan("verify", bundle, "--key", key, "--json")
    assert json.loads(result.stdout)["intact"] is True
    bundle.write_bytes(bundle.read_bytes()[:-40])
    assert lagan("verify", bundle, "--key", key).exit_code == 1


def test_a_facility_is_printed_taken_in_and_printed_the_same(tmp_path: Path) -> None:
    data, file = tmp_path / "data", tmp_path / "setup.yaml"
    pattern = lagan("facility", "--data", data).stdout
    file.write_text(pattern)
    assert lagan("facility", file, "--data", data).exit_code == 0
    assert lagan("facility", "--data", data).stdout == pattern
    file.write_text(pattern.replace("rail_mm: 3000", "rail_mm: -1"))
    wrong = lagan("facility", file, "--data", data)
    assert wrong.exit_code == 2
    assert "rail_mm" in wrong.output
