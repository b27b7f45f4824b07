"""Small problem documents and plans, for tests."""

from datetime import UTC, datetime
from typing import Any

from scheduler.plan import Amounts, Placement, Plan, Run, gap_between
from scheduler.problem import Problem

EPOCH = datetime(2031, 3, 3, tzinfo=UTC)


def one_of_each(**changes: Any) -> dict[str, Any]:
    """A document with one station of each kind and two pieces that visit all of them."""
    steps = [
        {"id": "hold", "kind": "store", "stations": ["cold"], "min_min": 10, "max_min": 100},
        {
            "id": "dry",
            "kind": "room",
            "stations": ["room"],
            "min_min": 60,
            "rack_mm": 600,
            "g_h": [50],
            "lag_max": 200,
        },
        {"id": "soot", "kind": "bench", "stations": ["bench"], "min_min": 20},
        {"id": "rest", "kind": "wait", "min_min": 5},
        {
            "id": "run",
            "kind": "batch",
            "stations": ["chamber"],
            "programme": "smoke",
            "min_min": 100,
            "max_min": 120,
        },
    ]
    piece = {
        "weight": 2,
        "due_min": 300,
        "volume_l": 40,
        "rail_mm": 300,
        "size_mm": [500, 400, 30],
        "steps": steps,
    }
    document: dict[str, Any] = {
        "epoch": EPOCH,
        "horizon_min": 2000,
        "stations": [
            {"kind": "store", "id": "cold", "litres": 100},
            {
                "kind": "room",
                "id": "room",
                "rack_mm": 1300,
                "removal_g_h": 100,
                "windows": [[0, 1500]],
            },
            {"kind": "bench", "id": "bench", "shifts": [[0, 400, 2], [600, 1000, 1]]},
            {
                "kind": "chamber",
                "id": "chamber",
                "usable_l": 100,
                "rail_mm": 700,
                "door_mm": [450, 600],
                "inside_mm": [900, 600, 600],
                "programmes": ["smoke", "mould"],
                "windows": [[0, 800], [900, 2000]],
                "starts_in": "mould",
            },
        ],
        "programmes": [{"id": "smoke", "needs_licence": True}, {"id": "mould"}],
        "clean_downs": [{"after": "mould", "into": "smoke", "minutes": 30, "cost": 7}],
        "licence_windows": [[0, 500], [900, 1200]],
        "items": [
            {"id": "A", "tags": ["a"], **piece},
            {"id": "B", "tags": ["b"], "release_min": 5, **piece},
        ],
        "weights": {
            "lateness": 1,
            "late_items": 10,
            "running_min": 1,
            "clean_down_cost": 1,
            "changes": 5,
            "finish": 1,
        },
    }
    return document | changes


def problem_of(document: dict[str, Any]) -> Problem:
    """The validated document."""
    return Problem.model_validate(document)


def good_plan(problem: Problem) -> Plan:
    """A plan for `one_of_each` that keeps every rule, worked out by hand.

    Both pieces hold, dry 60, are cleaned 20, rest 5 and share a run of 100 from 135 on (clean-down
    from 105): one programme change of cost 7, nothing late, finish 235, so 0 + 0 + 100 + 7 + 235.
    """
    placements = []
    for item, at in (("A", 0), ("B", 5)):
        placements += [
            Placement(item=item, step="hold", station="cold", start=at, end=at + 10),
            Placement(item=item, step="dry", station="room", start=at + 10, end=at + 70),
            Placement(item=item, step="soot", station="bench", start=at + 70, end=at + 90),
            Placement(item=item, step="rest", station=None, start=at + 90, end=at + 95),
            Placement(item=item, step="run", station="chamber", start=135, end=235, run="r"),
        ]
    objective = 100 + 7 + 235
    return Plan(
        problem_sha256=problem.sha256(),
        placements=tuple(placements),
        runs=(
            Run(
                id="r",
                station="chamber",
                programme="smoke",
                clean_down_start=105,
                start=135,
                end=235,
                items=("A", "B"),
            ),
        ),
        amounts=Amounts(
            lateness=0, late_items=0, running_min=100, clean_down_cost=7, changes=0, finish=235
        ),
        objective=objective,
        bound=200,
        gap=gap_between(objective, 200),
        status="feasible",
        seed=0,
        seconds=0.0,
    )


def moved(plan: Plan, item: str, step: str, **changes: Any) -> Plan:
    """The plan with one placement changed."""
    return plan.model_copy(
        update={
            "placements": tuple(
                p.model_copy(update=changes) if (p.item, p.step) == (item, step) else p
                for p in plan.placements
            )
        }
    )


def rerun(plan: Plan, **changes: Any) -> Plan:
    """The plan with its run, and the placements in it, changed."""
    shared = {k: v for k, v in changes.items() if k in ("station", "start", "end")}
    return plan.model_copy(
        update={
            "runs": tuple(r.model_copy(update=changes) for r in plan.runs),
            "placements": tuple(
                p.model_copy(update=shared) if p.run is not None else p for p in plan.placements
            ),
        }
    )
