"""What loosening or reordering a problem does to its optimum, beyond `test_solve`.

A relaxation is one that leaves every plan a plan, at no higher charge. Some changes look like
relaxations and are not; at the end each of them has an example whose optimum does get worse.
"""

from collections.abc import Callable
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.scheduler.documents import EPOCH, problem_of
from tests.scheduler.test_solve import best, tiny_documents, valid

MODERATE = settings(
    deadline=None,
    max_examples=30,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)

Json = dict[str, Any]


@st.composite
def rivals(draw: st.DrawFn) -> list[Json]:
    """Pieces that all want the same chamber or bench at once, so that what is loosened matters."""
    found: list[Json] = [
        {
            "id": f"r{n}",
            "weight": draw(st.integers(1, 3)),
            "due_min": draw(st.integers(1, 4)),
            "volume_l": 1,
            "rail_mm": draw(st.sampled_from([3, 1])),
            "size_mm": draw(st.sampled_from([[6, 4, 4], [4, 9, 2]])),
            "tags": draw(st.sampled_from([[], ["x"], ["y"], ["x", "y"]])),
            "steps": [
                {
                    "id": "run",
                    "kind": "batch",
                    "stations": draw(st.sampled_from([["c1", "c2"], ["c1"]])),
                    "programme": draw(st.sampled_from("qp")),
                    "min_min": draw(st.integers(1, 2)),
                }
            ],
        }
        for n in range(2)
    ]
    clean: Json = {"id": "clean", "kind": "bench", "stations": ["b2"], "min_min": 1, "due_min": 1}
    return [*found, {"id": "r2", "tags": [], "steps": [clean]}]


@st.composite
def documents(draw: st.DrawFn) -> Json:
    """Documents with more clean-downs, rails, doors and mixing groups, and without facts: what is
    fixed may go against what is loosened.
    """
    document = draw(tiny_documents(most_items=2, most_steps=4)) | {"fixed": []}
    pairs = draw(
        st.lists(
            st.sampled_from([(None, "p"), (None, "q"), ("p", "q"), ("q", "p"), ("p", "p")]),
            unique=True,
        )
    )
    document["clean_downs"] = [
        {"after": a, "into": b, "minutes": draw(st.integers(0, 2)), "cost": draw(st.integers(0, 4))}
        for a, b in pairs
    ]
    document["apart"] = draw(
        st.lists(st.sampled_from([["x", "y"], ["x", "x"], ["y", "y"]]), unique_by=tuple, max_size=2)
    )
    document["horizon_min"] += 5
    document["licence_windows"] = draw(st.sampled_from([[[1, 3], [8, 12]], None]))
    document["stations"] = [dict(s) for s in document["stations"]]
    document["stations"][0] |= {
        "rail_mm": 4,
        "door_mm": draw(st.sampled_from([None, [5, 3]])),
        "windows": draw(st.sampled_from([None, [[1, 4], [4, 11]], [[2, 7], [9, 11]]])),
    }
    document["items"] = [*document["items"], *draw(rivals())]
    document["weights"] = document["weights"] | {"lateness": draw(st.integers(1, 3))}
    return document


def with_steps(document: Json, change: Callable[[Json], Json]) -> Json:
    items = [i | {"steps": [s | change(s) for s in i["steps"]]} for i in document["items"]]
    return document | {"items": items}


def with_stations(document: Json, change: Callable[[Json], Json]) -> Json:
    return document | {"stations": [s | change(s) for s in document["stations"]]}


def due_later(document: Json) -> Json:
    later = with_steps(
        document, lambda s: {k: s[k] + 1 for k in ("due_min", "start_by_min") if k in s}
    )
    items = [i | ({"due_min": i["due_min"] + 2} if "due_min" in i else {}) for i in later["items"]]
    return later | {"items": items}


def lags_looser(document: Json) -> Json:
    return with_steps(
        document,
        lambda s: (
            {"lag_min": max(0, s["lag_min"] - 1), "lag_max": s["lag_max"] + 1}
            if "lag_max" in s
            else {}
        ),
    )


def longest_stay_longer(document: Json) -> Json:
    return with_steps(
        document, lambda s: {} if s["kind"] == "bench" else {"max_min": longest(s) + 1}
    )


def shortest_stay_shorter(document: Json) -> Json:
    """The longest stays as it was, so that every stay there was is still allowed."""
    return with_steps(
        document,
        lambda s: {} if s["kind"] == "bench" else {"min_min": 1, "max_min": longest(s)},
    )


def longest(step: Json) -> int:
    return int(step["max_min"] if "max_min" in step else step["min_min"])


def clean_downs_shorter(document: Json) -> Json:
    """Every sequence of runs keeps its starts and begins its clean-downs later, whether or not
    the table obeys the triangle inequality before or after.
    """
    default = document["clean_down_default"]
    return document | {
        "clean_downs": [c | {"minutes": c["minutes"] // 2} for c in document["clean_downs"]],
        "clean_down_default": default | {"minutes": 0},
    }


def clean_downs_cheaper(document: Json) -> Json:
    return document | {
        "clean_downs": [c | {"cost": c["cost"] // 2} for c in document["clean_downs"]]
    }


def windows_longer(document: Json) -> Json:
    """Windows begin sooner, end later, or both, and so does the licence."""

    def wider(station: Json) -> Json:
        if not station.get("windows"):
            return {}
        *others, last = station["windows"]
        windows = [*others, [last[0], last[1] + 3]]
        return {"windows": [[0, windows[0][1]], *windows[1:]]}

    licences = document["licence_windows"]
    return with_stations(document, wider) | {
        "licence_windows": licences and [[0, licences[0][1] + 1], *licences[1:]]
    }


def windows_joined(document: Json) -> Json:
    return with_stations(document, lambda s: {"windows_join": True} if "windows" in s else {})


def licence_added(document: Json) -> Json:
    licences = document["licence_windows"]
    return document | {"licence_windows": licences and [licences[0], [4, 7], *licences[1:]]}


def licence_not_needed(document: Json) -> Json:
    return document | {"programmes": [p | {"needs_licence": False} for p in document["programmes"]]}


def shift_longer(document: Json) -> Json:
    return with_stations(document, lambda s: {"shifts": [[0, 14, 1]]} if s["id"] == "b2" else {})


def rail_longer(document: Json) -> Json:
    return with_stations(document, lambda s: {"rail_mm": 6} if "rail_mm" in s else {})


def door_wider(document: Json) -> Json:
    return with_stations(
        document, lambda s: {"door_mm": [5, 6]} if s.get("door_mm") is not None else {}
    )


def pair_mixed(document: Json) -> Json:
    return document | {"apart": document["apart"][1:]}


def station_added(document: Json) -> Json:
    twins: dict[str, Json] = {
        "batch": {"kind": "chamber", "id": "c3", "usable_l": 2, "programmes": ["q", "p"]},
        "room": {"kind": "room", "id": "room2", "rack_mm": 1, "removal_g_h": 1},
        "store": {"kind": "store", "id": "cold2", "litres": 1},
        "bench": {"kind": "bench", "id": "b3", "shifts": [[0, 5, 1]]},
    }
    wider = with_steps(
        document,
        lambda s: {"stations": [*s["stations"], twins[s["kind"]]["id"]]} if "stations" in s else {},
    )
    return wider | {"stations": [*document["stations"], *twins.values()]}


def one_more_choice(document: Json) -> Json:
    """Steps that could use one of two stations may use either."""
    choices = {"batch": ["c1", "c2"], "bench": ["b1", "b2"]}
    return with_steps(
        document, lambda s: {"stations": choices[s["kind"]]} if s["kind"] in choices else {}
    )


def tolerance_wider(document: Json) -> Json:
    return document | {"change_tolerance_min": 2}


def weights_lower(document: Json) -> Json:
    return document | {
        "weights": {name: max(0, value - 1) for name, value in document["weights"].items()}
    }


RELAXATIONS = [
    due_later,
    lags_looser,
    longest_stay_longer,
    shortest_stay_shorter,
    clean_downs_shorter,
    clean_downs_cheaper,
    windows_longer,
    windows_joined,
    licence_added,
    licence_not_needed,
    shift_longer,
    rail_longer,
    door_wider,
    pair_mixed,
    station_added,
    one_more_choice,
    tolerance_wider,
    weights_lower,
]


@pytest.mark.parametrize("relax", RELAXATIONS)
@MODERATE
@given(data=st.data())
def test_relaxing_never_worsens(relax: Callable[[Json], Json], data: st.DataObject) -> None:
    document = data.draw(documents())
    loosened = relax(document)
    assume(loosened != document)
    objective = best(valid(document))
    found = best(problem_of(loosened))
    if objective is not None:
        assert found is not None
        assert found <= objective


@MODERATE
@given(documents(), st.randoms(use_true_random=False))
def test_order_within_lists_changes_nothing(document: Json, rng: Random) -> None:
    objective = best(valid(document))

    def mixed(values: list[Any]) -> list[Any]:
        return rng.sample(values, len(values))

    shuffled = with_steps(
        document, lambda s: {"stations": mixed(s["stations"])} if "stations" in s else {}
    )
    shuffled = with_stations(
        shuffled, lambda s: {"programmes": mixed(s["programmes"])} if "programmes" in s else {}
    )
    shuffled |= {
        "items": [i | {"tags": mixed(i["tags"])} for i in mixed(shuffled["items"])],
        "stations": mixed(shuffled["stations"]),
        "programmes": mixed(document["programmes"]),
        "clean_downs": mixed(document["clean_downs"]),
        "apart": mixed([mixed(pair) for pair in document["apart"]]),
        "together": [mixed(group) for group in document.get("together", [])],
    }
    assert best(problem_of(shuffled)) == objective


@MODERATE
@given(tiny_documents(most_items=4, most_steps=6))
def test_names_change_nothing(document: Json) -> None:
    """Names given in the reverse of their order, with facts and the last plan renamed alike."""
    renamed = {"p": "z", "q": "a", "c1": "z1", "c2": "a1", "b1": "z2", "b2": "a2"}
    renamed |= {f"i{n}": f"j{9 - n}" for n in range(9)}

    def rename(value: Any) -> Any:
        if isinstance(value, dict):
            return {k: v if k == "kind" else rename(v) for k, v in value.items()}
        if isinstance(value, list):
            return [rename(v) for v in value]
        return renamed.get(value, value) if isinstance(value, str) else value

    objective = best(valid(document))
    assert best(problem_of(rename(document))) == objective


def chamber_work(**changes: Any) -> Json:
    """Three pieces for three programmes in one chamber; only clean-downs are charged."""
    run: Json = {"id": "run", "kind": "batch", "stations": ["c"], "min_min": 1}
    document: Json = {
        "epoch": EPOCH,
        "horizon_min": 50,
        "stations": [{"kind": "chamber", "id": "c", "usable_l": 1, "programmes": ["p", "q", "r"]}],
        "programmes": [{"id": "p"}, {"id": "q"}, {"id": "r"}],
        "clean_downs": [{"after": "p", "into": "q", "minutes": 0, "cost": 1}],
        "clean_down_default": {"minutes": 0, "cost": 9},
        "items": [
            {"id": name, "volume_l": 1, "steps": [run | {"programme": name}]} for name in "pqr"
        ],
        "weights": {"clean_down_cost": 1},
    }
    return document | changes


def test_less_to_do_may_cost_more_without_the_triangle_inequality() -> None:
    # By way of q it takes 1 + 1 from p to r; from p to r, or back, 9.
    document = chamber_work(
        clean_downs=[
            {"after": "p", "into": "q", "minutes": 0, "cost": 1},
            {"after": "q", "into": "r", "minutes": 0, "cost": 1},
        ]
    )
    assert best(problem_of(document)) == 2
    fewer = [item for item in document["items"] if item["id"] != "q"]
    assert best(problem_of(document | {"items": fewer})) == 9


def test_a_clean_chamber_may_cost_more_than_one_that_is_in_use() -> None:
    table = [{"after": None, "into": "p", "minutes": 0, "cost": 4}]
    document = chamber_work(clean_downs=table, items=chamber_work()["items"][:1])
    used = [document["stations"][0] | {"starts_in": "p"}]
    assert best(problem_of(document | {"stations": used})) == 0
    assert best(problem_of(document)) == 4


def test_an_entry_less_in_the_table_falls_back_on_the_default() -> None:
    items = chamber_work()["items"][:2]
    assert best(problem_of(chamber_work(items=items))) == 1
    assert best(problem_of(chamber_work(items=items, clean_downs=[]))) == 9


def test_quicker_bench_work_may_cost_more() -> None:
    # Two minutes in store, the work and the run follow each other without a pause, and the chamber
    # opens at 8: with work of 6 the piece begins at 0, as it should, and with work of 5 at 1.
    def document(minutes: int) -> Json:
        return {
            "epoch": EPOCH,
            "horizon_min": 20,
            "stations": [
                {"kind": "store", "id": "cold", "litres": 1},
                {"kind": "bench", "id": "bench", "shifts": [[0, 20, 1]]},
                {
                    "kind": "chamber",
                    "id": "c",
                    "usable_l": 1,
                    "programmes": ["p"],
                    "windows": [[8, 10]],
                },
            ],
            "programmes": [{"id": "p"}],
            "items": [
                {
                    "id": "i",
                    "steps": [
                        {
                            "id": "hold",
                            "kind": "store",
                            "stations": ["cold"],
                            "min_min": 2,
                            "start_by_min": 0,
                            "start_by_weight": 5,
                        },
                        {
                            "id": "clean",
                            "kind": "bench",
                            "stations": ["bench"],
                            "min_min": minutes,
                            "lag_max": 0,
                        },
                        {
                            "id": "run",
                            "kind": "batch",
                            "stations": ["c"],
                            "programme": "p",
                            "min_min": 2,
                            "lag_max": 0,
                        },
                    ],
                }
            ],
        }

    assert best(problem_of(document(6))) == 0
    assert best(problem_of(document(5))) == 5
