"""Documents of format 1 are read as they were, keep their hash, and carry nothing newer."""

import json
from typing import Any

import pytest
from pydantic import ValidationError

from scheduler.check import check
from scheduler.plan import Plan
from scheduler.problem import Problem
from tests.scheduler.documents import EPOCH, good_plan, one_of_each, problem_of

# Written, and hashed, by the program as it was when format 1 was the only one.
PROBLEM_1 = """{
 "format": "lagan-problem/1", "epoch": "2031-03-03T00:00:00Z", "horizon_min": 600,
 "stations": [{"kind": "chamber", "id": "c", "usable_l": 10, "programmes": ["p"]}],
 "programmes": [{"id": "p", "needs_licence": true}],
 "licence_windows": [[30, 90]],
 "items": [{"id": "i", "volume_l": 4, "due_min": 60, "steps": [{"id": "run", "kind": "batch",
   "stations": ["c"], "programme": "p", "min_min": 50, "max_min": 70}]}],
 "weights": {"lateness": 1, "running_min": 2}}"""
PROBLEM_1_SHA256 = "2b05aebb8a1880003eb22cf02cd4dec22b231704ff36edc71a6a9693cf9aef15"
PLAN_1 = """{
 "format": "lagan-plan/1",
 "problem_sha256": "2b05aebb8a1880003eb22cf02cd4dec22b231704ff36edc71a6a9693cf9aef15",
 "placements": [{"item": "i", "step": "run", "station": "c", "start": 30, "end": 80,
   "run": "run-001"}],
 "runs": [{"id": "run-001", "station": "c", "programme": "p", "clean_down_start": 30, "start": 30,
   "end": 80, "items": ["i"]}],
 "amounts": {"lateness": 20, "late_items": 1, "running_min": 50, "clean_down_cost": 0,
   "changes": 0, "finish": 80},
 "objective": 120, "bound": 120, "gap": 0.0, "status": "optimal", "seed": 0, "seconds": 0.1,
 "method": ["dispatch by ratio in time: 120"],
 "verified": {"verifier": "lagan-check/1", "rules": 26,
   "plan_sha256": "a4e22f48183df8b2c08fcf2a0c615f9823844f5eed9c4b648a61ef7d8a307973"}}"""
PLAN_1_SHA256 = "a4e22f48183df8b2c08fcf2a0c615f9823844f5eed9c4b648a61ef7d8a307973"


def test_documents_of_format_1_keep_their_hashes() -> None:
    problem, plan = Problem.model_validate_json(PROBLEM_1), Plan.model_validate_json(PLAN_1)
    assert problem.sha256() == PROBLEM_1_SHA256
    assert plan.sha256() == PLAN_1_SHA256
    assert plan.verified is not None
    assert plan.verified.plan_sha256 == PLAN_1_SHA256
    assert check(problem, plan).passed


def test_a_document_of_format_1_is_written_as_one() -> None:
    problem, plan = Problem.model_validate_json(PROBLEM_1), Plan.model_validate_json(PLAN_1)
    for document in (problem, plan):
        again = type(document).model_validate_json(document.model_dump_json())
        assert again == document
        assert again.sha256() == document.sha256()


def test_new_documents_are_of_format_2_and_hash_otherwise() -> None:
    problem = problem_of(one_of_each())
    assert problem.format == "lagan-problem/2"
    assert good_plan(problem).format == "lagan-plan/2"
    assert problem_of(one_of_each(format="lagan-problem/1")).sha256() != problem.sha256()


def placed(*path: Any) -> dict[str, Any]:
    """The document of format 1 with the last of the path at all that goes before it."""
    *keys, last, value = path
    document: dict[str, Any] = json.loads(PROBLEM_1)
    at: Any = document
    for key in keys:
        at = at[key]
    at[last] = value
    return document


@pytest.mark.parametrize(
    ("named", "document"),
    [
        (r"energy \(weights\)", placed("weights", "energy", 1)),
        (r"power_w \(stations 'c'\)", placed("stations", 0, "power_w", 0)),
        (
            r"licence_after_min \(programmes 'p'\)",
            placed("programmes", 0, "licence_after_min", [5]),
        ),
        (r"licence_at_end \(programmes 'p'\)", placed("programmes", 0, "licence_at_end", False)),
    ],
    ids=["energy", "power_w", "licence_after_min", "licence_at_end"],
)
def test_what_format_1_does_not_have_is_refused_in_it(named: str, document: Any) -> None:
    with pytest.raises(ValidationError, match=f"lagan-problem/1 has no {named}; write"):
        Problem.model_validate(document)
    Problem.model_validate(document | {"format": "lagan-problem/2"})


def test_a_plan_of_format_1_has_no_energy() -> None:
    document = json.loads(PLAN_1)
    document["amounts"]["energy_kwh"] = 1
    with pytest.raises(ValidationError, match="lagan-plan/1 has no amounts energy_kwh"):
        Plan.model_validate(document)


def test_another_format_is_refused() -> None:
    with pytest.raises(ValidationError, match="lagan-problem/1"):
        Problem(
            format="lagan-problem/3",
            epoch=EPOCH,
            horizon_min=0,
            stations=(),
            items=(),
        )
