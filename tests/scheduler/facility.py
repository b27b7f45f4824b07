"""An invented facility and loss, for tests: soot, chambers, airing and two benches.

All numbers are invented. A piece dries in a room, is cleaned of soot at a bench, goes through a
chamber within a day of that, airs in a room and ends at the finishing bench.
"""

import random
from datetime import UTC, datetime
from typing import Any

from scheduler.problem import Problem

DAY = 1440
EPOCH = datetime(2031, 3, 3, tzinfo=UTC)


def day_windows(days: int, start_h: int, end_h: int, *rest: int) -> list[list[int]]:
    """One span a day, five days out of seven, with what else each entry has."""
    return [[d * DAY + start_h * 60, d * DAY + end_h * 60, *rest] for d in range(days) if d % 7 < 5]


def facility(count: int, seed: int = 1, days: int | None = None) -> Problem:
    """A problem of `count` pieces; two chambers hold about 25 pieces each, one about 10."""
    rng = random.Random(seed)
    span = days if days is not None else 30 + count // 4
    stations: list[dict[str, Any]] = [
        {"kind": "room", "id": "dry-room", "rack_mm": 40_000, "removal_g_h": 4_000},
        {"kind": "room", "id": "airing-room", "rack_mm": 60_000},
        {"kind": "store", "id": "cold-store", "litres": 4_000},
        {"kind": "bench", "id": "soot-bench", "shifts": day_windows(span, 8, 18, 4)},
        {"kind": "bench", "id": "studio", "shifts": day_windows(span, 9, 17, 3)},
        {"kind": "bench", "id": "packing", "shifts": day_windows(span, 8, 16, 2)},
    ]
    for name, litres, rail in (("large-1", 6_000, 9_000), ("large-2", 6_000, 9_000)):
        stations.append(
            {
                "kind": "chamber",
                "id": name,
                "usable_l": litres,
                "rail_mm": rail,
                "door_mm": [1_000, 2_000],
                "inside_mm": [2_500, 2_000, 2_200],
                "programmes": ["smoke", "mould"],
                "starts_in": "smoke",
            }
        )
    stations.append(
        {
            "kind": "chamber",
            "id": "small",
            "usable_l": 2_000,
            "rail_mm": 3_500,
            "door_mm": [700, 1_200],
            "inside_mm": [1_500, 1_200, 1_400],
            "programmes": ["smoke", "mould", "insects"],
        }
    )
    return Problem.model_validate(
        {
            "epoch": EPOCH,
            "horizon_min": span * DAY,
            "stations": stations,
            "programmes": [
                {"id": "smoke", "family": "odour", "label": "Smoke odour"},
                {"id": "mould", "family": "fumigation", "needs_licence": True},
                {"id": "insects", "family": "low-oxygen"},
            ],
            "clean_down_default": {"minutes": 120, "cost": 200},
            "licence_windows": day_windows(span, 8, 17),
            "items": [_piece(n, rng, count) for n in range(count)],
            "apart": [["mouldy", "clean"]],
            "together": [["P-0000", "P-0001"]] if count > 1 else [],
            "weights": {
                "lateness": 1,
                "late_items": 2_000,
                "running_min": 2,
                "clean_down_cost": 1,
                "changes": 50,
                "finish": 1,
            },
        }
    )


def _piece(number: int, rng: random.Random, count: int) -> dict[str, Any]:
    width, height = rng.randrange(200, 1_000, 10), rng.randrange(200, 1_200, 10)
    depth = rng.randrange(20, 120, 5)
    programme = "mould" if number > 1 and rng.random() < 0.3 else "smoke"
    chamber_min = {"smoke": 2 * DAY, "mould": 3 * DAY}[programme]
    drying_h = rng.randrange(12, 73, 6)
    peak = rng.randrange(40, 400, 10)
    release = rng.choice([0, 0, 0, 360, DAY]) + (number // 40) * 240
    steps = [
        {
            "id": "dry",
            "kind": "room",
            "stations": ["dry-room"],
            "min_min": drying_h * 60,
            "max_min": drying_h * 60 + 2 * DAY,
            "rack_mm": width + 100,
            "g_h": [round(peak * (1 - h / drying_h)) for h in range(drying_h)],
            "start_by_min": release + 2 * DAY,
            "start_by_weight": rng.choice([1, 1, 2, 5]),
        },
        {
            "id": "soot",
            "kind": "bench",
            "stations": ["soot-bench"],
            "min_min": rng.randrange(30, 180, 15),
        },
        {
            "id": "chamber",
            "kind": "batch",
            "stations": ["large-1", "large-2", "small"],
            "programme": programme,
            "min_min": chamber_min,
            "max_min": chamber_min + DAY,
            "lag_max": 7 * DAY,
        },
        {
            "id": "air",
            "kind": "room",
            "stations": ["airing-room"],
            "min_min": DAY,
            "max_min": 10 * DAY,
            "rack_mm": width + 100,
            "lag_max": 8 * 60,
        },
        {
            "id": "finish",
            "kind": "bench",
            "stations": ["studio", "packing"],
            "min_min": rng.randrange(30, 240, 15),
        },
    ]
    if rng.random() < 0.2:
        hold = {
            "id": "hold",
            "kind": "store",
            "stations": ["cold-store"],
            "min_min": 60,
            "max_min": 60 * DAY,
        }
        steps[0] |= {"lag_max": 120, "start_by_min": None, "start_by_weight": 0}
        steps.insert(0, hold)
    return {
        "id": f"P-{number:04d}",
        "claim": f"claim-{number % 3}",
        "weight": rng.choice([1, 1, 1, 2, 3, 5, 10]),
        "release_min": release,
        "due_min": release + rng.randrange(10, 20 + count // 10) * DAY,
        "volume_l": max(1, width * height * depth // 1_000_000 * 8),
        "rail_mm": depth + 100,
        "size_mm": [width, height, depth],
        "tags": ["mouldy" if programme == "mould" else "clean"],
        "steps": steps,
    }
