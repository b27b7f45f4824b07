"""The plan drawn over time: well-formed, escaped, and true to the plan."""

import json
from datetime import UTC, datetime
from typing import Any
from xml.etree import ElementTree

import pytest

from scheduler.plan import Plan
from scheduler.problem import Problem, Room
from scheduler.solve import solve
from service.facility.board import Shown, day_lines, draw, moisture, rows_of, uses

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "</text><script>alert('x')</script>&\"'"
DUBLIN = "Europe/Dublin"


def problem(label: str = "A label", epoch: datetime = datetime(2031, 5, 6, tzinfo=UTC)) -> Problem:
    """Two pieces through a room, a store, a bench and a chamber that is shut for a while."""

    def piece(name: str) -> dict[str, Any]:
        return {
            "id": name,
            "label": label,
            "volume_l": 40,
            "rail_mm": 100,
            "steps": [
                {"kind": "store", "id": "hold", "stations": ["cold"], "min_min": 60},
                {"kind": "room", "id": "dry", "stations": ["room"], "min_min": 120, "rack_mm": 400},
                {"kind": "bench", "id": "soot", "stations": ["bench"], "min_min": 60},
                {
                    "kind": "batch",
                    "id": "chamber",
                    "stations": ["box"],
                    "programme": "air",
                    "min_min": 600,
                },
            ],
        }

    return Problem.model_validate(
        {
            "epoch": epoch,
            "horizon_min": 20_000,
            "stations": [
                {"kind": "store", "id": "cold", "label": label, "litres": 100},
                {"kind": "room", "id": "room", "label": label, "rack_mm": 1_000},
                {"kind": "bench", "id": "bench", "label": label, "shifts": [[0, 9_000, 2]]},
                {
                    "kind": "chamber",
                    "id": "box",
                    "label": label,
                    "usable_l": 200,
                    "programmes": ["air"],
                    "windows": [[0, 30], [600, 20_000]],
                },
                {
                    "kind": "chamber",
                    "id": "idle",
                    "label": "Idle chamber",
                    "usable_l": 200,
                    "programmes": ["air"],
                },
            ],
            "programmes": [{"id": "air", "label": label}],
            "items": [piece("a"), piece("b")],
            "weights": {"finish": 1, "running_min": 1},
        }
    )


def planned(asked: Problem) -> Plan:
    return solve(asked, seconds=3, workers=1, max_rounds=1)


def drawn(asked: Problem, start: int = 0, days: int = 14) -> ElementTree.Element:
    return ElementTree.fromstring(draw(asked, planned(asked), start, days, DUBLIN))


def texts(svg: ElementTree.Element) -> list[str]:
    return [one.text or "" for one in svg.iter(f"{SVG}text")]


def test_the_picture_is_well_formed_names_every_station_and_says_what_it_shows() -> None:
    board = drawn(problem())
    assert sum(text.startswith("A label") for text in texts(board)) >= 4
    assert "Idle chamber" in texts(board)
    spoken = [one.attrib.get("aria-label", "") for one in board.iter(f"{SVG}svg")]
    assert any("the same is in the table below" in words for words in spoken)


def test_hostile_labels_stay_text() -> None:
    svg = drawn(problem(HOSTILE))
    assert svg.find(f".//{SVG}script") is None
    assert any(text.startswith(HOSTILE[:12]) for text in texts(svg))
    titles = [one.text or "" for one in svg.iter(f"{SVG}title")]
    assert any(HOSTILE in title for title in titles)


def test_a_run_leads_to_its_page_and_says_how_many_pieces_it_has() -> None:
    asked = problem()
    plan = planned(asked)
    svg = ElementTree.fromstring(draw(asked, plan, 0, 14, DUBLIN))
    links = {one.attrib["href"] for one in svg.iter(f"{SVG}a")}
    assert {f"/facility/plan/runs/{run.id}" for run in plan.runs} <= links
    titles = [one.text for one in svg.iter(f"{SVG}title")]
    assert f"{plan.runs[0].id}: A label, 2 pieces" in titles


def test_a_full_line_leads_to_its_place_alone() -> None:
    asked = problem()
    plan = planned(asked)
    links = {one.attrib["href"] for one in drawn(asked).iter(f"{SVG}a")}
    assert {f"/facility/plan?station={one}" for one in ("room", "cold", "bench")} <= links
    alone = draw(asked, plan, 0, 14, DUBLIN, shown=Shown(station="room"))
    assert [one.name for one in rows_of(asked, plan, "room")] == ["A label, rack"]
    assert "/facility/plan/runs/" not in alone


def test_pieces_are_bars_that_lead_to_them_where_there_is_room() -> None:
    asked = problem()
    plan = planned(asked)
    for days, shown, wanted in (
        (14, Shown(), set()),
        (7, Shown(), {"a", "b"}),
        (14, Shown(pieces=frozenset("a")), {"a"}),
    ):
        svg = ElementTree.fromstring(draw(asked, plan, 0, days, DUBLIN, shown=shown))
        links = {one.attrib["href"] for one in svg.iter(f"{SVG}a")}
        found = {one.rpartition("/")[2] for one in links if "/plan/pieces/" in one}
        assert found == wanted, days


@pytest.mark.parametrize(("now", "lines"), [(60, 1), (-60, 0), (14 * 24 * 60, 0), (None, 0)])
def test_the_present_is_a_line_where_it_is_in_view(now: int | None, lines: int) -> None:
    asked = problem()
    svg = ElementTree.fromstring(draw(asked, planned(asked), 0, 14, DUBLIN, shown=Shown(now=now)))
    assert texts(svg).count("now") == lines


def test_the_table_says_what_the_drawing_shows() -> None:
    asked = problem()
    plan = planned(asked)
    lines = day_lines(asked, plan, 0, 14, DUBLIN)
    runs = {run.id for line in lines for run in line.runs}
    assert runs == {run.id for run in plan.runs}
    room = next(one for one in asked.stations if one.id == "room")
    peak = max(use.share for use in uses(asked, plan, room))
    assert f"at most {peak:.0%} used" in {line.words for line in lines if "rack" in line.name}
    assert day_lines(asked, plan, 13 * 24 * 60, 1, DUBLIN) == []


def test_the_water_that_a_room_removes_is_a_line_of_its_own() -> None:
    changed = problem().model_dump(mode="json")
    for item in changed["items"]:
        item["steps"][1] |= {"g_h": [300, 100], "stations": ["room"]}
    next(one for one in changed["stations"] if one["id"] == "room")["removal_g_h"] = 600
    asked = Problem.model_validate_json(json.dumps(changed))
    plan = planned(asked)
    room = next(one for one in asked.stations if isinstance(one, Room))
    for use in moisture(asked, plan, room):
        given = 0
        for one in plan.placements:
            if one.step == "dry" and one.start <= use.start < one.start + 120:
                given += 300 if use.start < one.start + 60 else 100
        assert use.used == given
    assert "A label, water" in [row.name for row in rows_of(asked, plan)]


def test_times_out_of_use_are_marked() -> None:
    assert texts(drawn(problem())).count("out of use") == 1


def test_what_lies_outside_the_days_shown_is_not_drawn() -> None:
    asked = problem()
    late = ElementTree.fromstring(draw(asked, planned(asked), 14 * 24 * 60, 14, DUBLIN))
    assert list(late.iter(f"{SVG}a")) == []
    assert list(late.iter(f"{SVG}polygon")) == []


def test_every_bar_lies_inside_its_picture() -> None:
    for svg in drawn(problem()).iter(f"{SVG}svg"):
        width, height = (float(part) for part in svg.attrib["viewBox"].split()[2:])
        for box in svg.iter(f"{SVG}rect"):
            x, y, wide, tall = (float(box.attrib[name]) for name in ("x", "y", "width", "height"))
            assert x >= 0
            assert y >= 0
            assert x + wide <= width + 0.2
            assert y + tall <= height


def test_days_are_local_days_across_a_change_of_the_clocks() -> None:
    # The zone's clocks go back on 26 October 2031 (IANA time zone database).
    svg = drawn(problem(epoch=datetime(2031, 10, 25, tzinfo=UTC)), days=4)
    days = [text for text in texts(svg) if text[:3] in {"Sat", "Sun", "Mon", "Tue"}]
    assert [" ".join(text.split()[:2]) for text in days] == ["Sun 26", "Mon 27", "Tue 28"]
    rules = [float(one.attrib["x1"]) for one in svg.iter(f"{SVG}line") if one.attrib["y1"] == "20"]
    first, second = rules[1] - rules[0], rules[2] - rules[1]
    assert first == pytest.approx(second * 25 / 24, rel=0.01)


@pytest.mark.parametrize(
    ("station", "most"), [("room", 1_000), ("cold", 100), ("bench", 2), ("box", 1)]
)
def test_how_full_a_station_is(station: str, most: float) -> None:
    asked = problem()
    plan = planned(asked)
    here = next(one for one in asked.stations if one.id == station)
    amounts = {"room": 400.0, "cold": 40.0, "bench": 1.0, "box": 1.0}
    for use in uses(asked, plan, here):
        inside = [
            one
            for one in plan.placements
            if one.station == station and one.start <= use.start and use.end <= one.end
        ]
        assert use.used == pytest.approx(amounts[station] * len(inside))
        assert use.most == most


def test_a_station_nobody_uses_has_nothing_to_show() -> None:
    asked = problem()
    idle = next(one for one in asked.stations if one.id == "idle")
    assert uses(asked, planned(asked), idle) == []
