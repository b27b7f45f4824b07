"""The scheduler's README against the package: its example is run, its tables are compared."""

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import scheduler
from scheduler.__main__ import main
from scheduler.check import RULES
from scheduler.plan import Amounts, Plan
from scheduler.problem import Problem, Weights

README = Path(scheduler.__file__).with_name("README.md")
LEFT_OUT = {"problem_sha256", "seconds", "method", "verified"}


def blocks(language: str) -> list[str]:
    """The fenced blocks of the README in one language."""
    found = re.findall(rf"^```{language}\n(.*?)^```$", README.read_text(), re.DOTALL | re.MULTILINE)
    assert found, f"the README has no block of {language}"
    return found


def table_under(heading: str) -> dict[str, str]:
    """The first two columns of the first table under a heading, without the backquotes."""
    _, _, rest = README.read_text().partition(f"# {heading}\n")
    rows: list[list[str]] = []
    for line in rest.splitlines():
        if line.startswith("|"):
            rows.append([cell.strip() for cell in line.strip("|").split("|")])
        elif rows:
            break
    assert len(rows) > 2, f"the README has no table under {heading!r}"
    return {row[0].strip("`"): row[1] for row in rows[2:]}


def run(arguments: list[str], folder: Path) -> str:
    """What a Python command prints on standard output."""
    root = README.parent.parent
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def timeless(text: str) -> str:
    """The text without the time taken, the only thing in it that varies."""
    return re.sub(r"seconds=[\d.]+", "seconds=…", text)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the example's problem, as the README tells to save it."""
    (tmp_path / "problem.json").write_text(blocks("json")[0])
    return tmp_path


def test_the_commands_print_what_the_readme_shows(folder: Path) -> None:
    commands = 0
    for block in blocks("console"):
        for command, shown in re.findall(r"^\$ (.*)\n((?:(?!\$ ).*\n)*)", block, re.MULTILINE):
            python, *arguments = shlex.split(command)
            assert python == "python"
            assert timeless(run(arguments, folder)) == timeless(shown)
            commands += 1
    assert commands == 2
    shown_plan: dict[str, Any] = json.loads(blocks("json")[1])
    plan = json.loads((folder / "plan.json").read_text())
    assert {name: plan[name] for name in plan.keys() - LEFT_OUT} == shown_plan
    for name in LEFT_OUT:
        assert f"(`{name}`)" in README.read_text()


def test_the_python_example_prints_what_the_readme_shows(folder: Path) -> None:
    (program,), (shown,) = blocks("python"), blocks("text")
    assert run(["-c", program], folder) == shown


def test_the_example_names_the_formats_in_force() -> None:
    problem, plan = (json.loads(block) for block in blocks("json"))
    assert problem["format"] == Problem.model_fields["format"].default
    assert plan["format"] == Plan.model_fields["format"].default


def test_the_example_s_objective_is_added_up_in_the_text() -> None:
    problem, plan = (json.loads(block) for block in blocks("json"))
    weights, amounts = problem["weights"], plan["amounts"]
    parts = [f"{weights[name]}·{amounts[name]}" for name in amounts if name in weights]
    assert f"{plan['objective']} = {' + '.join(parts)}" in README.read_text()


def test_every_rule_is_listed() -> None:
    assert list(table_under("What every plan keeps").items()) == list(RULES.items())


def test_every_weight_is_listed() -> None:
    assert list(table_under("What is charged")) == list(Weights.model_fields)
    assert len(Weights.model_fields) == len(Amounts.model_fields)


def test_every_option_is_listed(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--help"])
    offered = set(re.findall(r"--[a-z][a-z-]*", capsys.readouterr().out)) - {"--help"}
    assert set(table_under("Options")) == offered


def test_every_file_named_is_there() -> None:
    text = README.read_text()
    for name in re.findall(r"`([a-z_]+\.py)`", text):
        assert (README.parent / name).is_file(), name
    for name in re.findall(r"`(tests/[^`]*)`", text):
        assert (README.parent.parent / name).exists(), name
    for name in re.findall(r"python -m (tests\.[a-z.]+)", text):
        assert (README.parent.parent / (name.replace(".", "/") + ".py")).is_file(), name
