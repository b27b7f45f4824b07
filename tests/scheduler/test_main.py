"""The command line: exit codes, what goes to which stream, and a plan that another run checks."""

import json
from pathlib import Path

import pytest

from scheduler.__main__ import main
from scheduler.answer import Answer
from scheduler.check import check
from scheduler.plan import Plan, read_plan
from scheduler.problem import Problem
from tests.scheduler.documents import good_plan, moved, one_of_each, problem_of


@pytest.fixture
def problem_file(tmp_path: Path) -> Path:
    path = tmp_path / "problem.json"
    path.write_text(problem_of(one_of_each()).model_dump_json())
    return path


def test_a_plan_is_made_and_checked(
    problem_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan.json"
    assert main([str(problem_file), "--seconds", "20", "--workers", "1", "--out", str(out)]) == 0
    streams = capsys.readouterr()
    assert "optimal: objective=307 bound=307 gap=0.00%" in streams.out
    assert "best 307" in streams.err
    assert read_plan(out).verified is not None
    assert main([str(problem_file), "--check", str(out)]) == 0
    assert "passed" in capsys.readouterr().out


def test_progress_can_be_read_by_a_program(
    problem_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan.json"
    asked = [str(problem_file), "--seconds", "20", "--workers", "1", "--out", str(out)]
    assert main([*asked, "--progress", "json"]) == 0
    told = [json.loads(line) for line in capsys.readouterr().err.splitlines()]
    assert told[-1]["objective"] == told[-1]["bound"] == 307
    assert set(told[-1]) == {"seconds", "phase", "objective", "bound", "gap"}


def test_the_last_plan_alone_is_put_back(
    problem_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan.json"
    assert main([str(problem_file), "--repair", "--out", str(out)]) == 0
    assert read_plan(out).method == ("last plan repaired",)
    assert main([str(problem_file), "--check", str(out)]) == 0
    shut = tmp_path / "shut.json"
    document = one_of_each() | {"horizon_min": 1_000_000}
    for item in document["items"]:
        for step in item["steps"]:
            step["not_before_min"] = 999_000
    shut.write_text(json.dumps(document, default=str))
    capsys.readouterr()
    code = main([str(shut), "--repair", "--out", str(out)])
    assert code == 1
    assert "no place for" in capsys.readouterr().err


def test_a_broken_plan_fails_and_the_rule_is_named(
    problem_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = good_plan(problem_of(one_of_each())).model_copy(update={"objective": 1, "bound": 0})
    path = tmp_path / "plan.json"
    path.write_text(broken.model_copy(update={"gap": 1.0}).model_dump_json())
    assert main([str(problem_file), "--check", str(path)]) == 1
    streams = capsys.readouterr()
    assert "objective: the amounts and the objective are those of this plan" in streams.err
    assert "failed: objective" in streams.out


def test_bad_input_is_usage(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(tmp_path / "none.json")]) == 2
    assert "none.json: No such file" in capsys.readouterr().err
    path = tmp_path / "problem.json"
    path.write_text('{"format": "lagan-problem/1", "horizon_min": "soon"}')
    assert main([str(path)]) == 2
    assert "horizon_min: Input should be a valid integer" in capsys.readouterr().err


def test_no_plan_is_a_failure(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    problem = problem_of(one_of_each(horizon_min=240, apart=[["a", "b"]]))
    path = tmp_path / "problem.json"
    path.write_text(problem.model_dump_json())
    assert main([str(path), "--seconds", "20", "--workers", "1"]) == 1
    assert "cannot all hold" in capsys.readouterr().err


def test_a_plan_is_explained_and_compared_in_words(
    problem_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    problem = problem_of(one_of_each())
    last = tmp_path / "last.json"
    last.write_text(moved(good_plan(problem), "A", "hold", start=20, end=30).model_dump_json())
    out = tmp_path / "plan.json"
    out.write_text(good_plan(problem).model_dump_json())
    asked = ["--changes", str(last), "--explain", "B"]
    assert main([str(problem_file), "--check", str(out), *asked]) == 0
    assert capsys.readouterr().out.splitlines()[-3:] == [
        "passed",
        "A ends as before, 2031-03-03 03:55 UTC: hold starts 20 min sooner.",
        "B ends 2031-03-03 03:55 UTC, 1 h 5 min before it is due: run waits 35 min because "
        "the plan puts other work first.",
    ]


def test_words_go_beside_a_plan_on_standard_output(
    problem_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([str(problem_file), "--seconds", "20", "--explain", "A", "--stop-gap", "1"]) == 0
    streams = capsys.readouterr()
    assert Plan.model_validate_json(streams.out).verified is not None
    assert streams.err.splitlines()[-1].startswith("A ends 2031-03-03")


def test_nothing_different_is_said(
    problem_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan.json"
    out.write_text(good_plan(problem_of(one_of_each())).model_dump_json())
    assert main([str(problem_file), "--check", str(out), "--changes", str(out)]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "nothing is different"


def test_how_soon_new_items_could_be_done_goes_to_a_file(
    problem_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    problem = problem_of(one_of_each())
    plan, asked, out = (tmp_path / name for name in ("plan.json", "new.json", "answer.json"))
    plan.write_text(good_plan(problem).model_dump_json())
    new = {"id": "N", "steps": [{"id": "rest", "kind": "wait", "min_min": 30}]}
    asked.write_text(json.dumps([new]))
    question = [str(problem_file), "--check", str(plan), "--promise", str(asked)]
    assert main(question) == 2
    assert "and --out" in capsys.readouterr().err
    answered = main([*question, "--out", str(out), "--seconds", "20", "--zone", "Europe/Dublin"])
    assert answered == 0
    assert "The new piece can be done by" in capsys.readouterr().out
    answer = Answer.model_validate_json(out.read_bytes())
    assert answer.earliest_min == 30
    both = problem_of(one_of_each()).model_dump(mode="json")
    both["items"] = [*both["items"], new]
    for made in (answer.beside, answer.with_room, answer.with_harm):
        assert made is not None
        assert check(Problem.model_validate(both), made).passed
    asked.write_text("[]")
    assert main([*question, "--out", str(out)]) == 1
    assert "name at least one" in capsys.readouterr().err


def test_an_unknown_item_and_a_bad_share_are_usage(
    problem_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([str(problem_file), "--explain", "Z"]) == 2
    assert "the problem has no item 'Z'" in capsys.readouterr().err
    with pytest.raises(SystemExit) as stopped:
        main([str(problem_file), "--stop-gap", "5"])
    assert stopped.value.code == 2
    assert "'5' is no share; give a number from 0 to 1" in capsys.readouterr().err
