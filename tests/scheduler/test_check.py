"""Each rule of the verifier has a plan that breaks it, and is named for it."""

import pickle
from collections.abc import Callable
from typing import Any

import pytest

from scheduler.check import RULES, PlanBrokenError, check, stamp
from scheduler.plan import Placement, Plan
from scheduler.problem import Problem
from tests.scheduler.documents import good_plan, moved, one_of_each, problem_of, rerun

Broken = tuple[Problem, Plan]


def with_item_changes(**changes: Any) -> Problem:
    document = one_of_each()
    document["items"][0] |= changes
    return problem_of(document)


def with_station_changes(name: str, **changes: Any) -> Problem:
    document = one_of_each()
    next(s for s in document["stations"] if s["id"] == name).update(changes)
    return problem_of(document)


def on(problem: Problem, change: Callable[[Plan], Plan] = lambda plan: plan) -> Broken:
    return problem, change(good_plan(problem))


def other_problem() -> Broken:
    return problem_of(one_of_each()), good_plan(problem_of(one_of_each(horizon_min=3000)))


def missing_step() -> Broken:
    return on(
        problem_of(one_of_each()),
        lambda p: p.model_copy(update={"placements": p.placements[1:]}),
    )


def unknown_step() -> Broken:
    extra = Placement(item="A", step="polish", station=None, start=0, end=1)
    return on(
        problem_of(one_of_each()),
        lambda p: p.model_copy(update={"placements": (*p.placements, extra)}),
    )


def step_twice() -> Broken:
    return on(
        problem_of(one_of_each()),
        lambda p: p.model_copy(update={"placements": (*p.placements, p.placements[0])}),
    )


def frozen_step_moved() -> Broken:
    fact = {"item": "A", "step": "hold", "station": "cold", "start": 1, "end": 10}
    return on(problem_of(one_of_each(fixed=[fact])))


def frozen_run_joined() -> Broken:
    fact = {"item": "A", "step": "run", "station": "chamber", "start": 135, "end": 235, "run": "r"}
    return on(problem_of(one_of_each(fixed=[fact])))


def station_of_another_kind() -> Broken:
    return on(problem_of(one_of_each()), lambda p: moved(p, "A", "soot", station="room"))


def wait_at_a_station() -> Broken:
    return on(problem_of(one_of_each()), lambda p: moved(p, "A", "rest", station="bench"))


def before_release() -> Broken:
    return on(with_item_changes(release_min=1))


def after_horizon() -> Broken:
    document = one_of_each(horizon_min=234)
    document["items"][0]["steps"] = document["items"][1]["steps"]
    return on(problem_of(document))


def too_short() -> Broken:
    return on(problem_of(one_of_each()), lambda p: moved(p, "A", "dry", start=11))


def too_long() -> Broken:
    return on(problem_of(one_of_each()), lambda p: rerun(p, end=256))


def lag_too_short() -> Broken:
    return on(problem_of(one_of_each()), lambda p: moved(p, "A", "soot", start=69, end=89))


def lag_too_long() -> Broken:
    steps = [dict(s) for s in one_of_each()["items"][0]["steps"]]
    steps[4]["lag_max"] = 39
    return on(with_item_changes(steps=steps))


def run_of_others() -> Broken:
    return on(
        problem_of(one_of_each()),
        lambda p: p.model_copy(update={"runs": (p.runs[0].model_copy(update={"items": ("A",)}),)}),
    )


def run_not_listed() -> Broken:
    return on(problem_of(one_of_each()), lambda p: p.model_copy(update={"runs": ()}))


def run_at_other_times() -> Broken:
    return on(problem_of(one_of_each()), lambda p: moved(p, "A", "run", start=136, end=236))


def two_programmes() -> Broken:
    steps = [dict(s) for s in one_of_each()["items"][0]["steps"]]
    steps[4]["programme"] = "mould"
    return on(with_item_changes(steps=steps))


def programme_not_offered() -> Broken:
    document = one_of_each()
    other = {"kind": "chamber", "id": "other", "usable_l": 100, "programmes": ["smoke"]}
    document["stations"].append(other)
    document["stations"][3]["programmes"] = ["mould"]
    for item in document["items"]:
        item["steps"] = [dict(s) for s in item["steps"]]
        item["steps"][4]["stations"] = ["chamber", "other"]
    return on(problem_of(document))


def too_large_for_the_door() -> Broken:
    document = one_of_each()
    document["stations"].append({**document["stations"][3], "id": "wide", "door_mm": [900, 900]})
    document["items"][0]["size_mm"] = [880, 500, 30]
    document["stations"][3]["door_mm"] = [450, 29]
    document["items"][1]["size_mm"] = [450, 20, 20]
    for item in document["items"]:
        item["steps"] = [dict(s) for s in item["steps"]]
        item["steps"][4]["stations"] = ["chamber", "wide"]
    return on(problem_of(document))


def too_many_litres() -> Broken:
    return on(with_station_changes("chamber", usable_l=79))


def too_much_rail() -> Broken:
    return on(with_station_changes("chamber", rail_mm=599))


def mixed_groups() -> Broken:
    return on(problem_of(one_of_each(apart=[["a", "b"]])))


def separated() -> Broken:
    document = one_of_each(together=[["A", "B"]])
    problem = problem_of(document)

    def split(plan: Plan) -> Plan:
        own = plan.runs[0]
        first = own.model_copy(update={"items": ("A",)})
        second = own.model_copy(
            update={"id": "s", "items": ("B",), "clean_down_start": 235, "start": 235, "end": 335}
        )
        plan = moved(plan, "B", "run", start=235, end=335, run="s")
        return plan.model_copy(update={"runs": (first, second)})

    return on(problem, split)


def clean_down_skipped() -> Broken:
    return on(
        problem_of(one_of_each()),
        lambda p: p.model_copy(
            update={"runs": (p.runs[0].model_copy(update={"clean_down_start": 135}),)}
        ),
    )


def runs_overlap() -> Broken:
    def split(plan: Plan) -> Plan:
        own = plan.runs[0]
        first = own.model_copy(update={"items": ("A",)})
        second = own.model_copy(
            update={"id": "s", "items": ("B",), "clean_down_start": 234, "start": 234, "end": 334}
        )
        plan = moved(plan, "B", "run", start=234, end=334, run="s")
        return plan.model_copy(update={"runs": (first, second)})

    return on(problem_of(one_of_each()), split)


def outside_chamber_window() -> Broken:
    return on(with_station_changes("chamber", windows=[[106, 800]]))


def across_touching_windows() -> Broken:
    return on(with_station_changes("chamber", windows=[[0, 130], [130, 800]]))


def no_licensed_person() -> Broken:
    return on(problem_of(one_of_each(licence_windows=[[0, 135]])))


def asking_for_more(windows: list[list[int]], **asked: Any) -> Broken:
    """The good plan, whose run goes from 135 to 235, where its programme asks for more."""
    document = one_of_each(licence_windows=windows)
    document["programmes"][0] |= asked
    return on(problem_of(document))


def nobody_signs_a_second_time() -> Broken:
    return asking_for_more([[0, 184], [186, 500]], licence_after_min=[10, 50])


def over_before_it_is_signed() -> Broken:
    return asking_for_more([[0, 500]], licence_after_min=[101])


def nobody_clears_it() -> Broken:
    return asking_for_more([[0, 235], [236, 500]], licence_at_end=True)


def rack_overfilled() -> Broken:
    return on(with_station_changes("room", rack_mm=1199))


def too_much_moisture() -> Broken:
    return on(with_station_changes("room", removal_g_h=99))


def outside_room_window() -> Broken:
    return on(with_station_changes("room", windows=[[11, 1500]]))


def store_overfilled() -> Broken:
    return on(with_station_changes("cold", litres=79))


def outside_shift() -> Broken:
    return on(with_station_changes("bench", shifts=[[0, 80, 2], [80, 400, 2]]))


def too_few_people() -> Broken:
    return on(with_station_changes("bench", shifts=[[0, 400, 1]]))


def wrong_amounts() -> Broken:
    return on(problem_of(one_of_each()), lambda p: p.model_copy(update={"objective": 341}))


def energy_not_counted() -> Broken:
    return on(with_station_changes("chamber", power_w=600))


def bound_above() -> Broken:
    return on(problem_of(one_of_each()), lambda p: p.model_copy(update={"bound": 343}))


def said_optimal() -> Broken:
    return on(problem_of(one_of_each()), lambda p: p.model_copy(update={"status": "optimal"}))


CASES = [
    ("problem", other_problem),
    ("complete", missing_step),
    ("complete", unknown_step),
    ("complete", step_twice),
    ("fixed", frozen_step_moved),
    ("fixed", frozen_run_joined),
    ("station", station_of_another_kind),
    ("station", wait_at_a_station),
    ("release", before_release),
    ("horizon", after_horizon),
    ("duration", too_short),
    ("duration", too_long),
    ("lag", lag_too_short),
    ("lag", lag_too_long),
    ("run", run_of_others),
    ("run", run_not_listed),
    ("run", run_at_other_times),
    ("programme", two_programmes),
    ("programme", programme_not_offered),
    ("fit", too_large_for_the_door),
    ("volume", too_many_litres),
    ("rail", too_much_rail),
    ("apart", mixed_groups),
    ("together", separated),
    ("clean_down", clean_down_skipped),
    ("clean_down", runs_overlap),
    ("chamber_window", outside_chamber_window),
    ("chamber_window", across_touching_windows),
    ("licence", no_licensed_person),
    ("licence", nobody_signs_a_second_time),
    ("licence", over_before_it_is_signed),
    ("licence", nobody_clears_it),
    ("rack", rack_overfilled),
    ("moisture", too_much_moisture),
    ("room_window", outside_room_window),
    ("store", store_overfilled),
    ("shift", outside_shift),
    ("people", too_few_people),
    ("objective", wrong_amounts),
    ("objective", energy_not_counted),
    ("bound", bound_above),
    ("bound", said_optimal),
]


def test_a_good_plan_passes_and_is_stamped() -> None:
    problem = problem_of(one_of_each())
    plan = good_plan(problem)
    report = check(problem, plan)
    assert report.breaches == ()
    assert report.objective == 342
    stamped = stamp(problem, plan)
    assert stamped.verified is not None
    assert stamped.verified.plan_sha256 == plan.sha256() == stamped.sha256()


@pytest.mark.parametrize(("rule", "broken"), CASES, ids=lambda c: getattr(c, "__name__", c))
def test_a_broken_rule_is_named(rule: str, broken: Callable[[], Broken]) -> None:
    problem, plan = broken()
    report = check(problem, plan)
    assert rule in {b.rule for b in report.breaches}
    # What follows from the change (times, and so the objective) may break too; nothing else may.
    follow = {"objective", "bound", "duration", "run", "lag", "programme", "together", "horizon"}
    assert {b.rule for b in report.breaches} - follow <= {rule}
    with pytest.raises(PlanBrokenError, match=f"{rule}: "):
        stamp(problem, plan)


@pytest.mark.parametrize(
    ("broken", "where"),
    [
        (nobody_signs_a_second_time, "run 'r' at 185, 50 min after its start"),
        (over_before_it_is_signed, "run 'r', over before 101 min after its start"),
        (nobody_clears_it, "run 'r' at 235, its end"),
    ],
)
def test_a_missing_licence_is_told_with_its_moment(
    broken: Callable[[], Broken], where: str
) -> None:
    problem, plan = broken()
    assert [b.detail for b in check(problem, plan).breaches] == [where]


def test_whoever_comes_as_the_run_ends_may_clear_it() -> None:
    problem, plan = asking_for_more([[0, 136], [235, 236]], licence_at_end=True)
    assert check(problem, plan).passed
    assert check(*asking_for_more([[0, 500]], licence_after_min=[100, 0])).passed


def test_energy_is_counted_for_each_run_in_whole_kilowatt_hours() -> None:
    # 100 min at 600 W are 1 kWh, at 601 W more than that.
    for power, used in ((0, 0), (600, 1), (601, 2), (1_200, 2)):
        problem = with_station_changes("chamber", power_w=power)
        assert check(problem, good_plan(problem)).amounts.energy_kwh == used
    dear = problem.weights.model_copy(update={"energy": 10})
    report = check(problem.model_copy(update={"weights": dear}), good_plan(problem))
    assert report.objective == 342 + 20


def test_every_rule_has_a_plan_that_breaks_it() -> None:
    assert {rule for rule, _ in CASES} == set(RULES)


def test_touching_windows_are_one_where_the_document_says_so() -> None:
    problem = with_station_changes("chamber", windows=[[0, 130], [130, 800]], windows_join=True)
    assert check(problem, good_plan(problem)).passed


def test_lateness_changes_and_late_items_are_counted() -> None:
    document = one_of_each(
        previous=[
            {"item": "A", "step": "hold", "station": "cold", "start": 1, "end": 11},
            {"item": "B", "step": "hold", "station": "cold", "start": 5, "end": 15},
            {"item": "gone", "step": "hold", "station": "cold", "start": 5, "end": 15},
        ]
    )
    document["items"][0]["due_min"] = 225
    steps = [dict(s) for s in document["items"][0]["steps"]]
    steps[1] |= {"start_by_min": 4, "start_by_weight": 3, "due_min": 69}
    document["items"][0]["steps"] = steps
    problem = problem_of(document)
    amounts = check(problem, good_plan(problem)).amounts
    # 10 min after due at weight 2, the drying 6 min after its deadline at 3 and ended 1 late at 2.
    assert amounts.lateness == 20 + 18 + 2
    assert amounts.late_items == 1
    assert amounts.changes == 1
    tolerant = problem.model_copy(update={"change_tolerance_min": 1})
    assert check(tolerant, good_plan(problem)).amounts.changes == 0


def test_the_error_survives_the_way_out_of_another_process() -> None:
    with pytest.raises(PlanBrokenError) as raised:
        stamp(*missing_step())
    there = pickle.loads(pickle.dumps(raised.value))
    assert str(there) == str(raised.value) != ""
    assert there.report == raised.value.report
