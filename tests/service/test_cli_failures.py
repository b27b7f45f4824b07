"""The command line as its own process: what fails says so on standard error, with its exit code."""

import json
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from service.installation import Installation
from service.settings import KEY_FILE, Settings
from tests.writers import LOSS, Writer, opened, plain, tagged

PROJECT = Path(__file__).resolve().parents[2]


def lagan(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "service.cli", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        cwd=PROJECT,
    )


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """An installation with one loss and one piece."""
    here = Installation(Settings(folder=tmp_path / "data"))
    writer = Writer()
    here.log.append(plain(writer.say(opened()), writer.say(tagged("0000000000001"))))
    here.close()
    return tmp_path / "data"


def test_json_goes_to_standard_output_and_nothing_else_does(data: Path, tmp_path: Path) -> None:
    bundle = tmp_path / "custody.zip"
    assert lagan("custody", LOSS, "--out", bundle, "--data", data).returncode == 0
    done = lagan("verify", bundle, "--json")
    assert (done.returncode, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert (found["intact"], found["leaves"], found["key_given_by_reader"]) == (True, 2, False)


def test_a_changed_event_is_found(data: Path, tmp_path: Path) -> None:
    bundle, altered = tmp_path / "custody.zip", tmp_path / "altered.zip"
    lagan("custody", LOSS, "--out", bundle, "--data", data)
    with zipfile.ZipFile(bundle) as source, zipfile.ZipFile(altered, "w") as target:
        for name in source.namelist():
            member = source.read(name)
            if name == "leaves.jsonl":
                assert b"painting" in member
                member = member.replace(b"painting", b"pointing")
            target.writestr(name, member)
    done = lagan("verify", altered)
    assert done.returncode == 1
    assert "NOT INTACT" in done.stdout
    assert "leaves.jsonl" in done.stderr


def test_a_key_that_is_not_the_bundles_is_a_failed_check(data: Path, tmp_path: Path) -> None:
    bundle = tmp_path / "custody.zip"
    lagan("custody", LOSS, "--out", bundle, "--data", data)
    stranger = Settings(folder=tmp_path / "other").signer().verifier.text
    done = lagan("verify", bundle, "--key", stranger)
    assert done.returncode == 1
    assert "not the key you gave" in done.stderr


def test_a_damaged_key_is_said_to_be_one(data: Path, tmp_path: Path) -> None:
    (data / KEY_FILE).write_bytes(b"\xff\xff")
    done = lagan("custody", LOSS, "--out", tmp_path / "x.zip", "--data", data)
    assert done.returncode == 1
    assert "damaged" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("command", ["custody", "inventory"])
def test_a_place_that_cannot_be_written_is_bad_usage(data: Path, command: str) -> None:
    done = lagan(command, LOSS, "--out", "/no-such-folder/x", "--data", data)
    assert done.returncode == 2
    assert "/no-such-folder/x" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_first_broken_rule_of_a_plan_is_named(tmp_path: Path) -> None:
    problem, plan = tmp_path / "problem.json", tmp_path / "plan.json"
    step = {"kind": "bench", "id": "clean", "stations": ["bench"], "min_min": 30}
    document = {
        "epoch": "2031-05-06T00:00:00Z",
        "horizon_min": 500,
        "stations": [{"kind": "bench", "id": "bench", "shifts": [[0, 500, 1]]}],
        "items": [{"id": "a", "release_min": 60, "steps": [step]}],
    }
    problem.write_text(json.dumps(document))
    assert lagan("plan", problem, "--seconds", 2, "--out", plan).returncode == 0
    broken = json.loads(plan.read_text())
    broken["placements"][0] |= {"start": 0, "end": 30}
    plan.write_text(json.dumps(broken))
    done = lagan("check", problem, plan)
    assert done.returncode == 1
    last = done.stdout.splitlines()[-1]
    assert last.startswith("failed: release: nothing starts before it is here")
    assert "objective" in done.stdout


@pytest.mark.parametrize("text", ["", "not json", "[]", '{"format": "other"}'])
def test_a_file_that_is_no_problem_is_bad_usage(tmp_path: Path, text: str) -> None:
    problem = tmp_path / "problem.json"
    problem.write_text(text)
    done = lagan("plan", problem, "--out", tmp_path / "plan.json")
    assert done.returncode == 2
    # Whole, however long the path: a line is never broken for the width of a screen.
    assert f"lagan: {problem}: " in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "plan.json").exists()
