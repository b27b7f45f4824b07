"""What contradicts itself is refused, with the field and the mend."""

import copy
import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from pydantic import ValidationError

from scheduler.problem import Problem, read_problem
from tests.scheduler.documents import one_of_each, problem_of

Mutation = Callable[[dict[str, Any]], Any]


def put(*path: Any) -> Mutation:
    """A change that sets the last of the path, at all that goes before it."""
    *keys, last, value = path

    def change(document: dict[str, Any]) -> None:
        at: Any = document
        for key in keys:
            at = at[key]
        at[last] = value

    return change


def weigh_too_much(document: dict[str, Any]) -> None:
    document["items"][0]["weight"] = 1_000_000_000
    document["weights"]["lateness"] = 1_000_000


def ask_for_two_at_once(document: dict[str, Any]) -> None:
    document["programmes"][0] |= {"licence_after_min": [90]}
    document["licence_windows"] = [[0, 50], [200, 250]]


FACT = {"item": "A", "step": "run", "station": "chamber", "start": 0, "end": 100, "run": "r"}

CASES: list[tuple[str, Mutation]] = [
    ("step 'rest'|max_min 4 is less than min_min", put("items", 0, "steps", 3, "max_min", 4)),
    (r"items 'A': its steps end at", put("horizon_min", 150)),
    ("programme 'heat' is not in programmes", put("items", 0, "steps", 4, "programme", "heat")),
    ("it does not run programme 'smoke'", put("stations", 3, "programmes", ["mould"])),
    ("station 'attic' is not in stations", put("items", 0, "steps", 1, "stations", ["attic"])),
    ("a room step needs a room", put("items", 0, "steps", 1, "stations", ["bench"])),
    ("does not fit through its door or inside", put("items", 0, "size_mm", [700, 650, 30])),
    ("fills 101 L, usable are 100", put("items", 0, "volume_l", 101)),
    ("takes 701 mm of rail, it has 700", put("items", 0, "rail_mm", 701)),
    ("no window is 100 min long", put("stations", 3, "windows", [[0, 99]])),
    ("no shift has 1 people for 20 min", put("stations", 2, "shifts", [[0, 19, 2]])),
    ("needs 600 mm of rack, it has 599", put("stations", 1, "rack_mm", 599)),
    ("gives off 50 g/h, it removes 49", put("stations", 1, "removal_g_h", 49)),
    ("needs 40 L, it holds 39", put("stations", 0, "litres", 39)),
    ("licence_windows is empty; add a window", put("licence_windows", [])),
    (
        "130 min after the start, and the step lasts no more than 120",
        put("programmes", 0, "licence_after_min", [130]),
    ),
    (
        "has one for no run of 100 to 120 min",
        ask_for_two_at_once,
    ),
    ("ends before it starts", put("licence_windows", [[9, 8]])),
    ("overlap or are out of order", put("stations", 2, "shifts", [[0, 400, 2], [399, 500, 2]])),
    ("lag_max 200 is less than lag_min 300", put("items", 0, "steps", 1, "lag_min", 300)),
    ("a first step has no lag", put("items", 0, "steps", 0, "lag_min", 3)),
    ("bench work lasts exactly min_min", put("items", 0, "steps", 2, "max_min", 30)),
    ("min_min must be at least 1", put("items", 0, "steps", 2, "min_min", 0)),
    ("items: 'A' is there 2 times", put("items", 1, "id", "A")),
    ("steps: 'dry' is there 2 times", put("items", 0, "steps", 2, "id", "dry")),
    ("together: item 'C' is not in items", put("together", [["A", "C"]])),
    ("together: 'A' is there 2 times", put("together", [["A", "B"], ["A"]])),
    ("no chamber takes all at once", put("stations", 3, "usable_l", 79)),
    ("must travel apart", put("apart", [["b", "a"]])),
    ("no duration suits all", put("items", 0, "steps", 4, "min_min", 121)),
    ("has no step 'polish'", put("fixed", [FACT | {"step": "polish"}])),
    ("run must be given for a batch step", put("fixed", [FACT | {"run": None}])),
    (
        "starts after the epoch; call it",
        put("fixed", [FACT | {"start": 1, "state": "in_progress"}]),
    ),
    (
        "differ in station, start or end",
        put("fixed", [FACT, FACT | {"item": "B", "end": 101}]),
    ),
    (
        "runs 'r' and 's' overlap",
        put("fixed", [FACT, FACT | {"item": "B", "run": "s", "start": 99, "end": 199}]),
    ),
    ("make the weights", weigh_too_much),
    ("epoch must be in UTC", put("epoch", "2031-03-03T00:00:00+02:00")),
    ("valid integer", put("horizon_min", 1.5)),
    ("Extra inputs are not permitted", put("horizon_h", 5)),
]


@pytest.mark.parametrize(("message", "change"), CASES, ids=[m for m, _ in CASES])
def test_contradictions_are_named(message: str, change: Mutation) -> None:
    document = copy.deepcopy(one_of_each(together=[["A", "B"]]))
    problem_of(document)
    change(document)
    with pytest.raises(ValidationError, match=message):
        problem_of(document)


def test_all_contradictions_are_told_at_once() -> None:
    document = copy.deepcopy(one_of_each())
    document["stations"][0]["litres"] = 1
    document["stations"][2]["shifts"] = []
    with pytest.raises(ValidationError, match=r"'hold'[^\n]*\n[^\n]*'soot'"):
        problem_of(document)


@pytest.mark.parametrize(
    ("message", "step", "change"),
    [
        ("'room' holds 1400 rack_mm at minute 0", "dry", {"rack_mm": 700}),
        ("'room' holds 120 g_h at minute 0", "dry", {"g_h": [60]}),
        ("'cold' holds 120 litres at minute 0", "hold", {"litres": 60}),
        ("'bench' holds 4 people at minute 0", "soot", {"people": 2}),
    ],
)
def test_overfull_facts_are_refused(message: str, step: str, change: dict[str, Any]) -> None:
    at = {"dry": "room", "hold": "cold", "soot": "bench"}[step]
    facts = [{"item": i, "step": step, "station": at, "start": 0, "end": 60} for i in ("A", "B")]
    document = copy.deepcopy(one_of_each(fixed=facts))
    steps = document["items"][0]["steps"]
    next(s for s in steps if s["id"] == step).update(change)
    with pytest.raises(ValidationError, match=message):
        problem_of(document)


def test_touching_windows_hold_a_long_run_only_if_they_join() -> None:
    document = copy.deepcopy(one_of_each())
    document["stations"][3]["windows"] = [[0, 90], [90, 180]]
    with pytest.raises(ValidationError, match="no window is 100 min long"):
        problem_of(document)
    document["stations"][3]["windows_join"] = True
    assert problem_of(document).stations[3].id == "chamber"


def test_hash_is_of_the_meaning_not_the_layout(tmp_path: Any) -> None:
    problem = problem_of(one_of_each())
    path = tmp_path / "problem.json"
    path.write_text(problem.model_dump_json(indent=4))
    assert read_problem(path).sha256() == problem.sha256()
    path.write_text(json.dumps(one_of_each(), default=str))
    assert read_problem(path) == problem
    assert problem_of(one_of_each(horizon_min=2001)).sha256() != problem.sha256()


def test_hash_is_that_of_rfc_8785_json() -> None:
    # The canonical text written out by hand after RFC 8785: keys in order, no white space.
    empty = Problem(epoch=datetime(2031, 3, 3, tzinfo=UTC), horizon_min=0, stations=(), items=())
    text = (
        '{"apart":[],"change_tolerance_min":0,"clean_down_default":{"cost":0,"minutes":0},'
        '"clean_downs":[],"epoch":"2031-03-03T00:00:00Z","fixed":[],"format":"lagan-problem/2",'
        '"horizon_min":0,"items":[],"licence_windows":null,"previous":[],"programmes":[],'
        '"stations":[],"together":[],"weights":{"changes":0,"clean_down_cost":0,"finish":0,'
        '"late_items":0,"lateness":1,"running_min":0}}'
    )
    assert empty.sha256() == hashlib.sha256(text.encode()).hexdigest()


def test_every_field_of_the_schema_is_described_or_plain() -> None:
    schema = Problem.model_json_schema()
    assert schema["properties"]["together"]["description"]
    assert set(schema["$defs"]) >= {"Chamber", "Room", "Store", "Bench", "BatchStep", "Weights"}
