"""Work at the door of a store is bench work without a wait: it bounds what enters and leaves."""

from typing import Any

import pytest

from scheduler.check import check
from scheduler.solve import solve
from tests.scheduler.brute_force import optimum
from tests.scheduler.documents import EPOCH, problem_of


def carried(litres: int, shifts: list[list[int]]) -> dict[str, Any]:
    """Two pieces of a litre: 2 min to carry in, at least 3 in the store, 1 to carry out."""
    steps = [
        {"id": "in", "kind": "bench", "stations": ["carriers"], "min_min": 2},
        {
            "id": "hold",
            "kind": "store",
            "stations": ["cold"],
            "min_min": 3,
            "max_min": 7,
            "lag_max": 0,
        },
        {"id": "out", "kind": "bench", "stations": ["carriers"], "min_min": 1, "lag_max": 0},
    ]
    return {
        "epoch": EPOCH,
        "horizon_min": 14,
        "stations": [
            {"kind": "store", "id": "cold", "litres": litres},
            {"kind": "bench", "id": "carriers", "shifts": shifts},
        ],
        "items": [{"id": name, "volume_l": 1, "steps": steps} for name in "AB"],
        "weights": {"finish": 1},
    }


@pytest.mark.parametrize(
    ("litres", "shifts", "finish"),
    [
        # Two carriers: both are in at 2, out of the store at 5, and done at 6.
        (2, [[0, 14, 2]], 6),
        # One: the second is carried in from 2 to 4, leaves at 7 and is done at 8.
        (2, [[0, 14, 1]], 8),
        # Room for one: the second waits outside until the first leaves at 5, and leaves at 8.
        (1, [[0, 14, 1]], 9),
        # The shift ends before either could be carried out, and the next has one carrier.
        (2, [[0, 4, 1], [8, 14, 1]], 10),
    ],
)
def test_people_and_room_bound_what_enters(
    litres: int, shifts: list[list[int]], finish: int
) -> None:
    problem = problem_of(carried(litres, shifts))
    plan = solve(problem, seconds=20, workers=1)
    assert check(problem, plan).passed
    assert plan.objective == optimum(problem) == finish
    at = {(p.item, p.step): p for p in plan.placements}
    for name in "AB":
        assert at[name, "in"].end == at[name, "hold"].start
        assert at[name, "hold"].end == at[name, "out"].start
    if litres == 1:
        first, second = sorted((at[name, "hold"] for name in "AB"), key=lambda p: p.start)
        assert first.end <= second.start
