"""The invented facilities, what goes wrong in them, and the report: properties and bounds."""

import math
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from statistics import NormalDist, median, pstdev
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.check import check
from scheduler.dispatch import dispatch
from scheduler.plan import Plan
from scheduler.problem import Bench, BenchStep, Chamber, Item, Problem, RoomStep, read_problem
from tests.benchmarks import facility_report
from tests.benchmarks.facility import (
    BOUNDS,
    DAY,
    HOUR,
    MATERIALS,
    MOULD_CLOCK_H,
    RUN_MIN,
    facility,
    main,
)
from tests.benchmarks.facility_report import (
    Measured,
    comparison_table,
    growth_plot,
    replan_table,
    solve_table,
)
from tests.benchmarks.replanning import (
    NOTICE_MIN,
    RUN_LONGER_MIN,
    SCENARIOS,
    TRUCK_LATE_MIN,
    Replan,
    at_moment,
    busy_moment,
    moved_facts,
    plan_again,
)

COUNTS = st.integers(1, 60)
SEEDS = st.integers(0, 10_000)
ORDER = ["stabilise", "freeze", "dry", "clean", "chamber", "air", "studio"]


def step(item: Item, name: str) -> Any:
    return next((s for s in item.steps if s.id == name), None)


def material(item: Item) -> Any:
    return next(m for m in MATERIALS if item.label.startswith(m.name))


@given(COUNTS, SEEDS)
@settings(max_examples=25, deadline=None)
def test_the_same_seed_makes_the_same_valid_document(count: int, seed: int) -> None:
    problem = facility(count, seed).problem
    text = problem.model_dump_json()
    assert Problem.model_validate_json(text) == problem
    assert facility(count, seed).problem.model_dump_json() == text
    assert len(problem.items) == count
    assert facility(count, seed + 1).problem.items != problem.items


@given(COUNTS, SEEDS, st.floats(0.2, 1.5))
@settings(max_examples=25, deadline=None)
def test_the_busiest_station_has_the_load_asked_for(count: int, seed: int, load: float) -> None:
    made = facility(count, seed, load)
    loads = made.loads()
    assert set(loads) == {s.id for s in made.problem.stations}
    assert max(loads.values()) <= load
    # A minute less, and some bench, room or chamber would have more than that to do.
    shorter = type(made)(made.problem, made.campaign_min - 1)
    assert max(shorter.loads().values()) > load


@given(COUNTS, SEEDS)
@settings(max_examples=15, deadline=None)
def test_the_load_of_a_bench_is_its_work_over_its_people(count: int, seed: int) -> None:
    made = facility(count, seed)
    for bench in made.problem.stations:
        if not isinstance(bench, Bench):
            continue
        work = sum(
            s.min_min
            for item in made.problem.items
            for s in item.steps
            if isinstance(s, BenchStep) and s.stations == (bench.id,)
        )
        minutes = sum(
            shift.people
            for shift in bench.shifts
            for minute in range(shift.start, shift.end)
            if minute < made.campaign_min
        )
        assert made.loads()[bench.id] == pytest.approx(work / minutes)


@given(COUNTS, SEEDS)
@settings(max_examples=25, deadline=None)
def test_every_piece_keeps_to_its_bounds_and_route(count: int, seed: int) -> None:
    problem = facility(count, seed).problem
    for item in problem.items:
        names = [s.id for s in item.steps]
        assert names == [n for n in ORDER if n in names]
        assert names[0] == "stabilise"
        assert names[-1] == "studio"
        assert item.size_mm is not None
        width, height, depth = item.size_mm
        for name, value in (
            ("width_mm", width),
            ("height_mm", height),
            ("depth_mm", depth),
            ("studio_min", step(item, "studio").min_min),
        ):
            low, high = BOUNDS[name]
            assert low <= value <= high
        assert 1 <= item.weight <= 40
        assert item.due_min is not None
        assert item.due_min > item.release_min + sum(s.min_min for s in item.steps)
        assert item.rail_mm == depth + 100
        assert item.volume_l * 1e6 >= width * height * depth


@given(COUNTS, SEEDS)
@settings(max_examples=25, deadline=None)
def test_wet_pieces_dry_by_the_mould_clock_or_are_frozen_if_they_may(count: int, seed: int) -> None:
    for item in facility(count, seed).problem.items:
        dry, freeze = step(item, "dry"), step(item, "freeze")
        if freeze is not None:
            assert material(item).freezable
            assert dry.start_by_min is None
            assert dry.lag_max is not None
        if dry is None:
            assert freeze is None
            continue
        low, high = (HOUR * bound for bound in BOUNDS["drying_h"])
        assert low <= dry.min_min <= high
        clock = freeze if freeze is not None else dry
        # The clock runs from the event, which is six hours or more before the truck arrives.
        assert clock.start_by_min - item.release_min <= (MOULD_CLOCK_H - 6) * HOUR
        assert clock.start_by_weight == item.weight
        assert isinstance(dry, RoomStep)
        assert isinstance(dry.g_h, tuple)
        assert all(a >= b for a, b in pairwise(dry.g_h))
        assert len(set(dry.g_h)) <= 3
        assert dry.g_h[-1] > 0


@given(COUNTS, SEEDS)
@settings(max_examples=25, deadline=None)
def test_chambers_take_what_they_may_and_parts_travel_together(count: int, seed: int) -> None:
    problem = facility(count, seed).problem
    chambers = {s.id: s for s in problem.stations if isinstance(s, Chamber)}
    items = {i.id: i for i in problem.items}
    for item in problem.items:
        run = step(item, "chamber")
        if run is None:
            continue
        assert material(item).chamber
        assert all(run.programme in chambers[name].programmes for name in run.stations)
        assert RUN_MIN[run.programme] <= run.min_min <= run.max_min
        assert ("mouldy" in item.tags) == (run.programme == "mould")
        assert step(item, "air").lag_max is not None
    for group in problem.together:
        assert len(group) > 1
        members = [items[name] for name in group]
        assert len({i.claim for i in members}) == 1
        assert len({step(i, "chamber").programme for i in members}) == 1
        assert len({i.release_min for i in members}) == 1
    assert ("mouldy", "clean") in problem.apart


def test_the_draws_follow_the_distributions_documented() -> None:
    items = facility(3_000, seed=7).problem.items
    widths = [math.log(i.size_mm.first) for i in items if i.size_mm is not None]
    # Tolerances are four standard errors: of a median 1.25 sigma / sqrt(n), of a standard
    # deviation sigma / sqrt(2 n), of a share sqrt(p (1 - p) / n).
    root = math.sqrt(len(items))
    assert median(widths) == pytest.approx(math.log(550), abs=4 * 1.25 * 0.45 / root)
    assert pstdev(widths) == pytest.approx(0.45, abs=4 * 0.45 / (math.sqrt(2) * root))
    for below, normal in (
        ([step(i, "studio").min_min <= 60 for i in items], 0.0),
        ([step(i, "studio").min_min <= 120 for i in items], math.log(120 / 60) / 0.7),
        # The lightest weight is that of a value below 500.
        ([i.weight == 1 for i in items], math.log(500 / 900) / 1.6),
    ):
        share = NormalDist().cdf(normal)
        assert sum(below) / len(items) == pytest.approx(
            share, abs=4 * math.sqrt(share * (1 - share)) / root
        )
    shares = Counter(material(i).name for i in items)
    for kind in MATERIALS:
        error = math.sqrt(kind.share * (1 - kind.share)) / root
        assert shares[kind.name] / len(items) == pytest.approx(kind.share, abs=5 * error)
    drying = [step(i, "dry") for i in items if material(i).name == "framed work on paper"]
    hours = [math.log(s.min_min / HOUR) for s in drying if s is not None]
    assert median(hours) == pytest.approx(
        math.log(36), abs=4 * 1.25 * 0.4 / math.sqrt(len(hours)) + 0.02
    )


def test_a_larger_facility_has_more_stations_and_more_time() -> None:
    small, large = facility(50), facility(2_000)
    assert len(large.problem.stations) > len(small.problem.stations)
    assert large.campaign_min > small.campaign_min
    # Trucks bring several losses.
    assert (
        len({i.claim for i in large.problem.items})
        > len({i.claim for i in small.problem.items})
        > 1
    )


def test_half_the_load_takes_twice_the_open_time() -> None:
    full, half = facility(40, load=0.8), facility(40, load=0.4)
    assert half.campaign_min > 1.7 * full.campaign_min
    assert [i.steps[0].min_min for i in half.problem.items] == [
        i.steps[0].min_min for i in full.problem.items
    ]


@pytest.mark.parametrize(
    ("count", "load", "named"), [(0, 0.7, "count"), (5, 0.0, "load"), (5, 2.5, "load")]
)
def test_what_cannot_be_made_is_refused_by_name(count: int, load: float, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named} is "):
        facility(count, load=load)


def test_the_command_writes_a_document_and_tells_the_loads(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "problem.json"
    assert main(["--items", "12", "--seed", "4", "--load", "0.5", "--out", str(out)]) == 0
    assert read_problem(out) == facility(12, 4, 0.5).problem
    assert "studio: " in capsys.readouterr().out


@pytest.fixture(scope="module")
def under_way() -> tuple[Problem, Plan, int]:
    """A facility, its plan, and a moment at which a run is under way and a truck is to come."""
    problem = facility(60, seed=3).problem
    plan = dispatch(problem)
    return problem, plan, busy_moment(plan, 0.15)


def at(plan: Plan) -> dict[tuple[str, str], tuple[str | None, int, int]]:
    return {(p.item, p.step): (p.station, p.start, p.end) for p in plan.placements}


def test_at_a_moment_what_has_begun_is_fixed_and_the_rest_previous(
    under_way: tuple[Problem, Plan, int],
) -> None:
    problem, plan, moment = under_way
    now = at_moment(problem, plan, moment)
    assert (now.epoch - problem.epoch).total_seconds() == 60 * moment
    places = at(plan)
    fixed = {(f.item, f.step): (f.station, f.start + moment, f.end + moment) for f in now.fixed}
    previous = {
        (p.item, p.step): (p.station, p.start + moment, p.end + moment) for p in now.previous
    }
    assert fixed | previous == places
    assert {k for k, (_, start, _) in places.items() if start < moment + NOTICE_MIN} == set(fixed)
    assert any(f.state == "in_progress" for f in now.fixed)


def test_the_plan_is_still_a_plan_at_the_moment(under_way: tuple[Problem, Plan, int]) -> None:
    """With nothing gone wrong the old plan, counted from the moment, passes the verifier."""
    problem, plan, moment = under_way
    now = at_moment(problem, plan, moment)
    later = {"start": -moment, "end": -moment, "clean_down_start": -moment}
    document = plan.model_dump(mode="json", exclude={"verified"})
    for row in (*document["placements"], *document["runs"]):
        for name in later.keys() & row.keys():
            row[name] -= moment
    document["problem_sha256"] = now.sha256()
    report = check(now, Plan.model_validate(document))
    assert {b.rule for b in report.breaches} <= {"objective", "bound"}
    assert report.amounts.changes == 0
    # Deadlines are counted from the moment too, so what was late is as late as it was.
    assert report.amounts.lateness == plan.amounts.lateness
    assert report.amounts.finish == plan.amounts.finish - moment


@pytest.mark.parametrize("name", SCENARIOS)
def test_trouble_leaves_what_has_begun_as_it_was(
    name: str, under_way: tuple[Problem, Plan, int]
) -> None:
    problem, plan, moment = under_way
    changed = SCENARIOS[name](problem, plan, moment)
    now = at_moment(problem, plan, moment)
    before = {(f.item, f.step): f for f in now.fixed}
    after = {(f.item, f.step): f for f in changed.fixed}
    assert after.keys() <= before.keys()
    for key, fact in before.items():
        if fact.start <= 0:
            moved = after[key].end - fact.end
            assert moved in ({0, RUN_LONGER_MIN} if name == "run takes longer" else {0})
            assert after[key].start == fact.start
            assert after[key].station == fact.station
    # What is fixed of a piece is the beginning of its route; all else is known as the last plan.
    for item in changed.items:
        fixed = [(item.id, s.id) in after for s in item.steps]
        assert fixed == sorted(fixed, reverse=True)
    assert {(p.item, p.step) for p in changed.previous} == at(plan).keys() - after.keys()


def test_trouble_changes_what_it_says(under_way: tuple[Problem, Plan, int]) -> None:
    problem, plan, moment = under_way
    now = at_moment(problem, plan, moment)
    failed = SCENARIOS["chamber fails"](problem, plan, moment)
    differing = [a for a, b in zip(failed.stations, now.stations, strict=True) if a != b]
    assert len(differing) == 1
    assert isinstance(differing[0], Chamber)
    assert differing[0].windows is not None
    gaps = [b.start - a.end for a, b in pairwise(differing[0].windows)]
    assert 2 * DAY in gaps
    late = SCENARIOS["truck is late"](problem, plan, moment)
    moved = [
        b.release_min - a.release_min
        for a, b in zip(now.items, late.items, strict=True)
        if a.release_min != b.release_min
    ]
    assert set(moved) == {TRUCK_LATE_MIN}
    lapsed = SCENARIOS["licence lapses"](problem, plan, moment)
    assert lapsed.licence_windows is not None
    assert all(w.end <= 0 or w.start >= 2 * DAY for w in lapsed.licence_windows)
    longer = SCENARIOS["run takes longer"](problem, plan, moment)
    ends = {(f.item, f.step): f.end for f in now.fixed}
    runs = {
        f.run for f in longer.fixed if f.end != ends[f.item, f.step] and f.state == "in_progress"
    }
    assert len(runs) == 1


@pytest.mark.parametrize("name", SCENARIOS)
def test_planning_again_moves_nothing_fixed(name: str) -> None:
    problem = facility(12, seed=3).problem
    plan = dispatch(problem)
    measured, changed, found = plan_again(name, problem, plan, busy_moment(plan), seconds=10)
    assert found is not None
    assert check(changed, found).passed
    assert moved_facts(changed, found) == measured.moved_fixed == 0
    assert measured.fixed == len(changed.fixed) > 0
    assert measured.changes == found.amounts.changes
    assert measured.seconds_to_first is not None


def test_a_fact_that_moved_is_counted() -> None:
    problem = facility(12, seed=3).problem
    plan = dispatch(problem)
    now = at_moment(problem, plan, busy_moment(plan))
    assert moved_facts(now, plan) == len(now.fixed)


def row(items: int, method: str, **changes: Any) -> Measured:
    plain = Measured(
        items=items,
        method=method,
        objective=4_000,
        bound=3_000,
        gap=0.25,
        seconds=60.0,
        first_s=0.5,
        peak_mib=300.0,
        runs=7,
        late_items=2,
        lateness=2 * DAY,
        finish_min=30 * DAY,
    )
    return replace(plain, **changes)


def test_tables_show_each_size_and_what_has_no_plan() -> None:
    solved = [row(50, "solve"), row(200, "solve", lateness=DAY)]
    assert "| 50 | 4,000 | 3,000 | 25.0% | 60.0 | 0.50 | 300 | 7 | 2 | 2.0 | 30.0 |" in (
        solve_table(solved)
    )
    rules = [row(50, "first come, first served", runs=9)]
    table = comparison_table(solved, rules).splitlines()
    assert table[2] == "| 50 | 2.0 | 2.0 | no plan | 7 | 9 | no plan | 30.0 | 30.0 | no plan |"
    assert table[3].count("no plan") == 6
    assert len({line.count("|") for line in table}) == 1
    none = Replan("chamber fails", 10, 0, None, 5.0, None, None)
    assert "| chamber fails | none found | 5.0 | 10 | - | - |" in replan_table([none])


def test_the_plot_has_a_point_for_each_size_inside_its_panels() -> None:
    rows = [row(50, "solve"), row(200, "solve", first_s=2.0), row(1_000, "solve", peak_mib=900.0)]
    root = ElementTree.fromstring(growth_plot(rows))
    space = "{http://www.w3.org/2000/svg}"
    dots = root.findall(f"{space}circle")
    assert len(dots) == 2 * len(rows)
    for dot in dots:
        assert 0 < float(dot.attrib["cx"]) < float(root.attrib["width"])
        assert (
            facility_report.TOP
            <= float(dot.attrib["cy"])
            <= (facility_report.TOP + facility_report.PANEL_H)
        )
    left = [float(d.attrib["cx"]) for d in dots[: len(rows)]]
    # Pieces go by ratio: from 50 to 200 as far as log 4 is of log 20.
    assert (left[1] - left[0]) / (left[2] - left[0]) == pytest.approx(math.log(4, 20), abs=1e-3)
    with pytest.raises(ValueError, match="rows is empty"):
        growth_plot([])


# The first solve on a machine compiles the local search.
@pytest.mark.timeout(900)
def test_the_report_measures_each_solve_in_its_own_process(tmp_path: Path) -> None:
    out = tmp_path / "report.md"
    assert facility_report.main(["--items", "6", "--seconds", "2", "--out", str(out)]) == 0
    text = out.read_text()
    rows = [line for line in text.splitlines() if line.startswith("| 6 |")]
    assert len(rows) == 2
    assert "no plan" not in text
    plans = [dispatch(facility(6).problem, rule) for rule in ("arrival", "deadline")]
    shown = [cell.strip() for cell in rows[1].split("|")][2:-1]
    assert shown[4:6] == [str(len(p.runs)) for p in plans]
    assert shown[7:9] == [f"{p.amounts.finish / DAY:.1f}" for p in plans]
    ElementTree.fromstring((tmp_path / "report.svg").read_text())


def test_the_report_plans_again_where_asked() -> None:
    replans = facility_report.measure_replans(12, 3, 0.7, 10)
    assert [one.scenario for one in replans] == list(SCENARIOS)
    assert all(one.moved_fixed == 0 for one in replans)
