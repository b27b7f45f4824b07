"""From records to a problem: what is planned, what is left out and why, and what it may cost."""

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import scheduler.problem as sp
from scheduler.check import check
from scheduler.solve import solve
from service.assessing import remaining_steps, triage_of
from service.facility.planning import (
    HORIZON_DAYS,
    NoFacilityError,
    Planning,
    build_problem,
    plateaus,
    with_freezing,
)
from service.facility.plans import (
    MissingPlanError,
    SolveError,
    adopt,
    adopted,
    draft,
    planned_run,
    solve_apart,
    timed,
)
from service.installation import Installation
from service.log import reading
from service.settings import Settings
from shared import events as ev
from shared.facility import Bench, Facility, Holiday
from shared.facts import Constant, facts
from shared.vocabulary import (
    Damage,
    Decision,
    Material,
    ObjectType,
    PartRole,
    Phase,
    StepKind,
)
from tests.service.conftest import Clock
from tests.service.facility.house import (
    AIR,
    BOWL,
    CANVAS,
    FACILITY,
    GAS,
    PANE,
    VASE,
    allow,
    bring,
    enter,
    finish,
    furnish,
    open_run,
    say,
    shift,
    size,
)
from tests.writers import LOSS


def plan_for(here: Installation, **kwargs: Any) -> Planning:
    with here.database.read() as session:
        return build_problem(session, here.now(), **kwargs, known=here.facts)


def item_of(planning: Planning, tag: str) -> sp.Item:
    return next(item for item in planning.problem.items if item.id == tag)


def step_of(planning: Planning, tag: str, step: str) -> Any:
    return next(one for one in item_of(planning, tag).steps if one.id == step)


def steps_of(planning: Planning, tag: str) -> list[str]:
    return [step.id for step in item_of(planning, tag).steps]


def why_left(planning: Planning, tag: str) -> list[str]:
    return [one.why for one in planning.left_out if one.tag == tag]


def station_of(planning: Planning, name: str) -> Any:
    return next(one for one in planning.problem.stations if one.id == name)


def solved(problem: sp.Problem) -> Any:
    plan = solve(problem, seconds=5, workers=1, max_rounds=1)
    assert check(problem, plan).passed
    return plan


def with_stations(facility: Facility, **changes: dict[str, object]) -> Facility:
    """The facility with some stations changed by id."""
    stations = tuple(
        one.model_copy(update=changes.get(one.id.replace("-", "_"), {}))
        for one in facility.stations
    )
    return facility.model_copy(update={"stations": stations})


# --- pieces -------------------------------------------------------------------------------------


def test_nothing_is_planned_before_there_is_a_facility(here: Installation) -> None:
    with pytest.raises(NoFacilityError, match="describe the facility first"):
        plan_for(here)


def test_a_wet_sooty_smelling_piece_gets_its_steps_in_lawful_order(here: Installation) -> None:
    furnish(here)
    bring(here, VASE, Damage.SOAKED, Damage.SOOT_DRY, Damage.SMOKE_ODOUR)
    planning = plan_for(here)
    assert steps_of(planning, VASE) == ["stabilise", "dry", "soot_removal", "chamber", "air"]
    assert planning.programmes[VASE] == AIR
    finish(here, VASE, StepKind.STABILISE, StepKind.DRY)
    assert steps_of(plan_for(here), VASE) == ["soot_removal", "chamber", "air"]


def test_airing_is_still_planned_once_the_chamber_is_behind_it(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    finish(here, VASE, StepKind.STABILISE, StepKind.CHAMBER)
    assert steps_of(plan_for(here), VASE) == ["air"]


def test_the_mould_deadline_is_on_the_drying_and_on_nothing_after_it(here: Installation) -> None:
    furnish(here)
    bring(here, VASE, Damage.SOAKED, Damage.SOOT_DRY)
    with here.database.read() as session:
        piece = reading.item(session, reading.EVERYTHING, VASE)
        loss = reading.loss(session, reading.EVERYTHING, LOSS)
        assert piece is not None
        deadline = triage_of(
            piece, loss, here.now(), (), reading.facility(session), known=here.facts
        ).deadline
    assert deadline is not None
    planning = plan_for(here)
    by = {step.id: step.start_by_min for step in item_of(planning, VASE).steps}
    expected = math.ceil((deadline - planning.problem.epoch) / timedelta(minutes=1))
    assert by == {"stabilise": None, "dry": expected, "soot_removal": None}
    assert step_of(planning, VASE, "dry").start_by_weight > 0


def test_a_piece_on_a_truck_is_released_when_the_truck_comes(
    here: Installation, clock: Clock
) -> None:
    furnish(here)
    say(
        here,
        ev.ItemTagged(
            tag=VASE, object_type=ObjectType.DECORATIVE, materials=(Material.CERAMIC_HIGH,)
        ),
        ev.DamageNoted(tag=VASE, damage=Damage.SMOKE_ODOUR),
    )
    assert plan_for(here).problem.items == ()
    comes = clock.at + timedelta(hours=3)
    say(
        here,
        ev.ManifestClosed(
            manifest="M-1", vehicle="van", tags=(VASE,), leaves_at=clock.at, expected_at=comes
        ),
    )
    assert item_of(plan_for(here), VASE).release_min == 180
    say(
        here,
        ev.ManifestDelayed(
            manifest="M-1", expected_at=comes + timedelta(hours=2), reason="a flat tyre"
        ),
    )
    assert item_of(plan_for(here), VASE).release_min == 300


def test_a_piece_that_its_truck_came_without_is_not_planned(
    here: Installation, clock: Clock
) -> None:
    furnish(here)
    for tag in (VASE, BOWL):
        say(
            here,
            ev.ItemTagged(
                tag=tag, object_type=ObjectType.DECORATIVE, materials=(Material.CERAMIC_HIGH,)
            ),
            ev.DamageNoted(tag=tag, damage=Damage.SMOKE_ODOUR),
        )
    listed = ev.ManifestClosed(
        manifest="M-1", vehicle="van", tags=(VASE, BOWL), leaves_at=clock.at, expected_at=clock.at
    )
    say(here, listed, ev.ItemReceived(tag=BOWL, manifest="M-1", station="bench"))
    planning = plan_for(here)
    assert [item.id for item in planning.problem.items] == [BOWL]
    assert "not been scanned in" in why_left(planning, VASE)[0]
    say(here, ev.ItemReceived(tag=VASE, manifest="M-1", station="bench"))
    assert item_of(plan_for(here), VASE).release_min == 0


def test_a_set_takes_the_room_of_all_of_it(here: Installation) -> None:
    furnish(here)
    bring(here, VASE, size=size("30", "30", "10"))
    bring(here, BOWL, size=size("30", "30", "10"), quantity=4)
    planning = plan_for(here)
    one, four = item_of(planning, VASE), item_of(planning, BOWL)
    assert (one.volume_l, four.volume_l) == (9, 36)
    assert (one.rail_mm, four.rail_mm) == (150, 600)


def test_a_higher_value_weighs_more_and_never_without_bound(here: Installation) -> None:
    furnish(here)
    for tag, amount in ((VASE, None), (BOWL, "5000"), (PANE, "900000000")):
        bring(here, tag)
        if amount is not None:
            money = {"amount": amount, "currency": "GBP"}
            value = {"tag": tag, "basis": "declared", "value": money, "stated_by": "owner"}
            say(here, ev.ValueStated.model_validate(value))
    planning = plan_for(here)
    weights = [item_of(planning, tag).weight for tag in (VASE, BOWL, PANE)]
    assert weights == sorted(weights)
    assert weights[0] < weights[1] < weights[2] <= 40


def test_what_is_settled_is_left_out_with_the_reason_and_what_went_home_without(
    here: Installation,
) -> None:
    furnish(here)
    for tag in (VASE, BOWL, PANE):
        bring(here, tag)
    for tag, decision in ((VASE, Decision.SETTLE), (BOWL, Decision.AUTHORISE)):
        say(here, ev.DecisionMade(tag=tag, decision=decision, decided_by="adjuster"))
    say(here, ev.ItemReturned(tag=PANE, received_by="owner", condition="as agreed"))
    planning = plan_for(here)
    assert [item.id for item in planning.problem.items] == [BOWL]
    assert [(one.tag, one.title, one.why) for one in planning.left_out] == [
        (VASE, f"Piece {VASE[-3:]}", "the adjuster settled it as a loss")
    ]


def test_a_piece_no_programme_may_treat_waits_for_a_conservator(here: Installation) -> None:
    furnish(here, FACILITY, GAS)
    bring(here, VASE, Damage.SOOT_WET, materials=(Material.SILVER,))
    planning = plan_for(here)
    # The studio comes after the chamber, so it waits too.
    assert steps_of(planning, VASE) == ["stabilise", "soot_removal"]
    (why,) = why_left(planning, VASE)
    assert why.startswith("a conservator decides on the chamber: ")
    assert "Ozone on silver: not allowed" in why


def test_what_no_programme_is_for_is_left_to_the_licensed_person(here: Installation) -> None:
    furnish(here)
    bring(here, VASE, Damage.INSECTS)
    assert why_left(plan_for(here), VASE) == [
        "no programme on file acts on what it suffers from; the licensed person decides"
    ]


def test_an_override_moves_a_piece_to_the_programme_it_asks_for(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    assert step_of(plan_for(here), VASE, "chamber").programme == AIR.id
    allow(here, VASE)
    assert step_of(plan_for(here), VASE, "chamber").programme == GAS.id


@pytest.mark.parametrize(
    ("measures", "words"),
    [
        (size("140", "30", "10"), "does not fit through its door or inside"),
        (size("78", "85", "80"), "fills 531 L, usable are 500"),
        (size("20", "20", "60"), "takes 650 mm of rail, it has 600"),
    ],
)
def test_what_fits_no_chamber_is_left_out_with_each_chambers_reason(
    here: Installation, measures: ev.Size, words: str
) -> None:
    furnish(here)
    bring(here, VASE, size=measures)
    planning = plan_for(here)
    assert steps_of(planning, VASE) == ["stabilise"]
    (why,) = why_left(planning, VASE)
    assert why.startswith("chamber run: Box chamber: ")
    assert "Spare chamber: " in why
    assert words in why


def test_a_set_that_gives_off_more_water_than_any_room_removes_is_left_out(
    here: Installation,
) -> None:
    furnish(here)
    bring(here, VASE, Damage.SOAKED, materials=(Material.TEXTILE,), quantity=5_000)
    planning = plan_for(here)
    assert steps_of(planning, VASE) == ["stabilise"]
    (why,) = why_left(planning, VASE)
    assert why.startswith("dry: Drying room: gives off ")


def test_a_piece_never_goes_on_past_a_step_nobody_can_do(here: Installation) -> None:
    without = tuple(one for one in FACILITY.stations if one.id not in {"dry", "airing"})
    furnish(here, FACILITY.model_copy(update={"stations": without}))
    bring(here, VASE, Damage.SOAKED, Damage.SMOKE_ODOUR)
    bring(here, BOWL, Damage.SMOKE_ODOUR)
    planning = plan_for(here)
    assert steps_of(planning, VASE) == ["stabilise"]
    assert why_left(planning, VASE) == ["no room is set up for drying"]
    assert steps_of(planning, BOWL) == ["stabilise", "chamber"]
    assert why_left(planning, BOWL) == ["no room is set up for airing"]


def test_long_handwork_is_cut_into_sessions_that_fit_a_shift(here: Installation) -> None:
    furnish(here)
    bring(here, VASE, Damage.BROKEN, size=size("200", "300", "5"), quantity=12)
    planning = plan_for(here)
    sessions = [one for one in item_of(planning, VASE).steps if one.id.startswith("stabilise")]
    assert len(sessions) > 1
    assert all(one.min_min <= 9 * 60 for one in sessions)
    assert [one.id for one in sessions] == [f"stabilise-{n + 1}" for n in range(len(sessions))]


def test_a_programme_that_nobody_signed_yet_does_not_stop_the_planning(here: Installation) -> None:
    furnish(here, FACILITY, AIR)
    bring(here, VASE)
    planning = plan_for(here)
    assert station_of(planning, "box").programmes == (AIR.id,)
    solved(planning.problem)


# --- parts --------------------------------------------------------------------------------------


def test_a_piece_and_its_parts_share_their_run(here: Installation) -> None:
    furnish(here)
    bring(here, CANVAS, object_type=ObjectType.PAINTING, materials=(Material.OIL_CANVAS,))
    bring(here, PANE, parent=CANVAS, role=PartRole.FRAME, materials=(Material.PLAIN_FRAME,))
    planning = plan_for(here)
    assert planning.problem.together == ((CANVAS, PANE),)
    plan = solved(planning.problem)
    assert any({CANVAS, PANE} <= set(run.items) for run in plan.runs)


@pytest.mark.parametrize(
    ("facts", "damages"),
    [
        ({"size": size("70", "80", "50")}, (Damage.SMOKE_ODOUR,)),
        ({}, (Damage.SMOKE_ODOUR, Damage.MOULD_VISIBLE)),
    ],
    ids=["too much for any chamber together", "mouldy beside clean"],
)
def test_parts_that_cannot_share_a_run_do_not_stop_the_planning(
    here: Installation, facts: dict[str, object], damages: tuple[Damage, ...]
) -> None:
    furnish(here)
    bring(here, CANVAS, object_type=ObjectType.PAINTING, size=size("70", "80", "50"))
    bring(here, PANE, *damages, parent=CANVAS, role=PartRole.FRAME, **facts)
    planning = plan_for(here)
    assert planning.problem.together == ()
    assert {item.id for item in planning.problem.items} == {CANVAS, PANE}


# --- the facility -------------------------------------------------------------------------------


def test_a_closed_chamber_has_windows_around_its_closure(here: Installation, clock: Clock) -> None:
    furnish(here)
    start = clock.at + timedelta(hours=10)
    for station, starts, ends in (
        ("box", start, start + timedelta(hours=5)),
        ("box", start + timedelta(hours=4), start + timedelta(hours=6)),
        ("spare", clock.at - timedelta(days=2), clock.at - timedelta(days=1)),
    ):
        say(
            here,
            ev.StationClosed(station=station, starts_at=starts, ends_at=ends, reason="repair"),
        )
    planning = plan_for(here)
    assert station_of(planning, "box").windows == (
        sp.Window(0, 600),
        sp.Window(960, planning.problem.horizon_min),
    )
    assert station_of(planning, "spare").windows is None
    assert station_of(planning, "dry").windows is None


def test_a_chamber_closed_for_good_takes_nothing(here: Installation, clock: Clock) -> None:
    furnish(here)
    bring(here, VASE)
    ends = clock.at + timedelta(days=400)
    for station in ("box", "spare"):
        say(
            here,
            ev.StationClosed(station=station, starts_at=clock.at, ends_at=ends, reason="burnt"),
        )
    planning = plan_for(here)
    assert station_of(planning, "box").windows == ()
    assert "no window is 600 min long" in why_left(planning, VASE)[0]


def test_shifts_keep_their_local_hours_when_the_clocks_change(
    here: Installation, clock: Clock
) -> None:
    # The zone's clocks go back on Sunday 26 October 2031 (IANA time zone database): before it
    # the bench opens at 07:00 UTC, after it at 08:00 UTC.
    clock.at = datetime(2031, 10, 24, 12, tzinfo=UTC)
    furnish(here)
    planning = plan_for(here)
    opens = [
        planning.problem.epoch + timedelta(minutes=one.start)
        for one in station_of(planning, "bench").shifts[:5]
    ]
    assert [one.strftime("%d %H:%M") for one in opens] == [
        "24 12:00",
        "25 07:00",
        "26 08:00",
        "27 08:00",
        "28 08:00",
    ]
    assert all(one.end - one.start == 540 for one in station_of(planning, "bench").shifts[1:5])


def test_shifts_that_overlap_or_are_out_of_order_add_up(here: Installation) -> None:
    bench = FACILITY.station("bench")
    assert isinstance(bench, Bench)
    late, early = shift(12, 20, 3), shift(8, 17, 2)
    furnish(here, with_stations(FACILITY, bench={"shifts": (late, early)}))
    spans = station_of(plan_for(here), "bench").shifts[3:6]
    assert [(one.end - one.start, one.people) for one in spans] == [(240, 2), (300, 5), (180, 3)]


def test_licensed_hours_end_when_the_licence_does(here: Installation, clock: Clock) -> None:
    last_day = clock.at.date() + timedelta(days=2)
    person = FACILITY.licensed[0].model_copy(update={"expires": last_day})
    second = person.model_copy(update={"licence_no": "LIC-2", "hours": (shift(15, 18, 1),)})
    furnish(here, FACILITY.model_copy(update={"licensed": (person, second)}))
    planning = plan_for(here)
    windows = planning.problem.licence_windows or ()
    days = [(planning.problem.epoch + timedelta(minutes=one.start)).date() for one in windows]
    assert days == [clock.at.date() + timedelta(days=n) for n in range(3)]
    # 9 to 16 and 15 to 18 are one stretch of nine hours.
    assert [one.end - one.start for one in windows[1:]] == [540, 540]


def test_a_gas_run_is_planned_only_while_a_licensed_person_is_there(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    allow(here, VASE)
    planning = plan_for(here)
    plan = solved(planning.problem)
    (run,) = plan.runs
    windows = planning.problem.licence_windows or ()
    assert run.programme == GAS.id
    assert any(one.start <= run.start < one.end for one in windows)


def test_a_gas_run_ends_while_a_licensed_person_is_there_to_clear_it(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    allow(here, VASE)
    planning = plan_for(here)
    (programme,) = (one for one in planning.problem.programmes if one.id == GAS.id)
    assert programme.licence_at_end
    assert not any(one.licence_at_end for one in planning.problem.programmes if one.id == AIR.id)
    # A night in the closed, aired chamber may come on top of the signer's greatest length.
    night = round(facts().constant(Constant.CLEARANCE_WAIT_H) * 60)
    step = step_of(planning, VASE, "chamber")
    assert (step.min_min, step.max_min) == (GAS.run_min[0], GAS.run_min[1] + night)
    plan = solved(planning.problem)
    (run,) = plan.runs
    windows = planning.problem.licence_windows or ()
    assert any(one.start <= run.end < one.end for one in windows)


def test_gas_that_nobody_is_there_to_clear_is_left_out(here: Installation) -> None:
    mondays = FACILITY.licensed[0].model_copy(update={"hours": (shift(9, 16, 1, days=(0,)),)})
    furnish(here, FACILITY.model_copy(update={"licensed": (mondays,)}))
    bring(here, VASE)
    allow(here, VASE)
    planning = plan_for(here)
    # The shortest run takes longer than the seven hours, and none may last a week.
    assert why_left(planning, VASE) == [
        "chamber run: no licensed person is there both to start Odour gas and to clear it in time"
    ]
    assert "chamber" not in steps_of(planning, VASE)


def test_a_gas_run_under_way_takes_until_it_can_be_cleared(
    here: Installation, clock: Clock
) -> None:
    furnish(here)
    bring(here, VASE)
    allow(here, VASE)
    finish(here, VASE, StepKind.STABILISE)
    open_run(here, VASE, programme=GAS)
    say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    planning = plan_for(here)
    (fixed,) = planning.problem.fixed
    windows = planning.problem.licence_windows or ()
    over = fixed.start + GAS.run_min[1]
    assert not any(one.start <= over < one.end for one in windows)
    assert fixed.end == min(one.start for one in windows if one.start > over)


def test_a_piece_in_a_chamber_now_stays_there(here: Installation, clock: Clock) -> None:
    furnish(here)
    for tag in (VASE, BOWL):
        bring(here, tag, Damage.SOOT_DRY, Damage.SMOKE_ODOUR)
        finish(here, tag, StepKind.STABILISE, StepKind.SOOT_REMOVAL)
    open_run(here, VASE, BOWL, programme=AIR)
    say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    clock.forward(hours=1)
    planning = plan_for(here)
    (fixed,) = planning.problem.fixed
    assert (fixed.item, fixed.run, fixed.station) == (VASE, "run-1", "box")
    assert (fixed.start, fixed.end, fixed.state) == (-60, -60 + AIR.run_min[1], "in_progress")
    assert steps_of(planning, VASE) == ["chamber", "air"]
    plan = solved(planning.problem)
    assert all(BOWL not in run.items for run in plan.runs if run.id == "run-1")


def test_a_piece_in_a_chamber_stays_with_the_runs_own_programme(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    allow(here, VASE, expires=here.now().date())
    open_run(here, VASE, programme=GAS)
    say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    enter(here, Phase.SEALED, Phase.DOSING)
    with here.database.read() as session:
        planning = build_problem(session, here.now() + timedelta(days=2), known=here.facts)
    assert step_of(planning, VASE, "chamber").programme == GAS.id
    solved(planning.problem)


# --- freezing -----------------------------------------------------------------------------------


def late_drying(here: Installation, material: Material, **told: object) -> Planning:
    """A soaked piece past its deadline already."""
    furnish(here)
    bring(here, VASE, Damage.SOAKED, materials=(material,), **told)
    planning = plan_for(here)
    assert step_of(planning, VASE, "dry").start_by_min is not None
    return with_freezing(planning, solved(planning.problem), known=facts())


def test_what_would_dry_too_late_is_held_frozen_where_that_is_allowed(
    here: Installation, clock: Clock
) -> None:
    clock.forward(days=20)
    planning = late_drying(here, Material.TEXTILE)
    assert steps_of(planning, VASE) == ["stabilise", "freeze", "dry"]
    freeze, dry = step_of(planning, VASE, "freeze"), step_of(planning, VASE, "dry")
    assert (freeze.stations, freeze.start_by_min is not None) == (("cold",), True)
    assert (dry.start_by_min, dry.start_by_weight, dry.lag_max) == (None, 0, 240)
    solved(planning.problem)


@pytest.mark.parametrize(
    ("material", "facts"),
    [(Material.PANEL_PAINTING, {}), (Material.TEXTILE, {"quantity": 600})],
    ids=["may not be frozen", "does not fit the cold store"],
)
def test_what_may_not_or_cannot_be_frozen_is_not(
    here: Installation, clock: Clock, material: Material, facts: dict[str, object]
) -> None:
    clock.forward(days=20)
    assert "freeze" not in steps_of(late_drying(here, material, **facts), VASE)


def test_what_dries_in_time_is_not_frozen(here: Installation, clock: Clock) -> None:
    clock.at = datetime(2031, 5, 6, 8, 30, tzinfo=UTC)
    furnish(here)
    bring(here, VASE, Damage.SOAKED, materials=(Material.TEXTILE,))
    planning = plan_for(here)
    assert (
        with_freezing(planning, solved(planning.problem), known=facts()).problem == planning.problem
    )


# --- plans --------------------------------------------------------------------------------------


def test_a_plan_is_made_apart_adopted_and_worked_by(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    with here.database.read() as session:
        assert adopted(session, here.photos) is None
    made = draft(here, 4)
    assert check(made.planning.problem, made.plan).passed
    adopt(here, made, "Ada Lead")
    with here.database.read() as session:
        book = reading.facility(session)
        assert (book.plans_adopted, adopted(session, here.photos)) == (
            1,
            (made.planning.problem, made.plan),
        )
    first = timed(made.planning.problem, made.plan)[0]
    assert first.starts == made.planning.problem.epoch + timedelta(minutes=first.placement.start)
    assert planned_run(made.plan, made.plan.runs[0].id) == made.plan.runs[0]
    assert planned_run(made.plan, "no-such-run") is None


def test_what_a_new_plan_moves_is_charged(here: Installation, clock: Clock) -> None:
    furnish(here)
    bring(here, VASE)
    before = plan_for(here)
    plan = solved(before.problem)
    clock.forward(minutes=30)
    previous = (before.problem, plan)
    after = plan_for(here, previous=previous)
    starts = {(one.item, one.step): one.start for one in plan.placements}
    for one in after.problem.previous:
        assert one.start == starts[one.item, one.step] - 30
    again = solved(after.problem)
    assert again.amounts.changes == 0
    say(
        here,
        *(
            ev.StationClosed(
                station=station,
                starts_at=clock.at,
                ends_at=clock.at + timedelta(days=5),
                reason="repair",
            )
            for station in ("box", "spare")
        ),
    )
    moved = solved(plan_for(here, previous=previous).problem)
    assert moved.amounts.changes >= 1
    assert moved.objective > again.objective


def test_a_plan_whose_documents_are_gone_says_so_and_does_not_stop_a_new_one(
    here: Installation,
) -> None:
    furnish(here)
    bring(here, VASE)
    say(here, ev.PlanAdopted(plan="a" * 64, problem="b" * 64))
    with (
        here.database.read() as session,
        pytest.raises(MissingPlanError, match="documents are not here; make a new one"),
    ):
        adopted(session, here.photos)
    assert draft(here, 3).plan.placements


def test_a_problem_without_a_plan_gives_the_planners_own_words() -> None:
    step = {"kind": "bench", "id": "a", "stations": ["bench"], "min_min": 60}
    problem = sp.Problem.model_validate(
        {
            "epoch": "2031-05-06T00:00:00Z",
            "horizon_min": 100,
            "stations": [{"kind": "bench", "id": "bench", "shifts": [[0, 100, 1]]}],
            "items": [{"id": name, "steps": [step]} for name in "xy"],
        }
    )
    with pytest.raises(SolveError, match=r"These cannot all hold: .*x and y are both treated"):
        solve_apart(problem, 2)


# --- whatever comes in --------------------------------------------------------------------------

SIDES = st.integers(1, 4_000).map(lambda tenths: str(tenths / 10))


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    pieces=st.lists(
        st.fixed_dictionaries(
            {
                "damages": st.lists(st.sampled_from(list(Damage)), unique=True, max_size=4),
                "material": st.sampled_from(list(Material)),
                "sides": st.none() | st.tuples(SIDES, SIDES, SIDES),
                "quantity": st.sampled_from([1, 1, 1, 7, 900]),
                "done": st.sampled_from([(), ("stabilise",), ("stabilise", "dry")]),
            }
        ),
        min_size=1,
        max_size=5,
    ),
    closed_days=st.sampled_from([0, 3, 400]),
)
def test_every_step_is_planned_or_the_reason_is_named(
    tmp_path_factory: pytest.TempPathFactory,
    blank_database: Path,
    pieces: list[dict[str, Any]],
    closed_days: int,
) -> None:
    folder = tmp_path_factory.mktemp("planned")
    chosen = Settings(folder=folder)
    chosen.database.write_bytes(blank_database.read_bytes())
    here = Installation(chosen, now=Clock())
    furnish(here)
    if closed_days:
        ends = here.now() + timedelta(days=closed_days)
        say(here, ev.StationClosed(station="box", starts_at=here.now(), ends_at=ends, reason="x"))
    tags = (VASE, BOWL, PANE, CANVAS, "000000000006Q")
    for tag, piece in zip(tags, pieces, strict=False):
        bring(
            here,
            tag,
            *piece["damages"],
            materials=(piece["material"],),
            size=size(*piece["sides"]) if piece["sides"] else None,
            quantity=piece["quantity"],
        )
        finish(here, tag, *(StepKind(step) for step in piece["done"]))
    planning = plan_for(here)
    with here.database.read() as session:
        items = {one.tag: one for one in reading.items(session, reading.EVERYTHING)}
    here.close()
    planned = {
        item.id: {step.id.partition("-")[0] for step in item.steps}
        for item in planning.problem.items
    }
    for tag, item in items.items():
        wanted = {step.value for step in remaining_steps(item, here.facts)} - {"freeze", "return"}
        missing = wanted - planned.get(tag, set())
        assert bool(missing) == bool(why_left(planning, tag)), (tag, missing)
    assert planning.problem.horizon_min == HORIZON_DAYS * 24 * 60


# --- moisture in few steps ----------------------------------------------------------------------


@given(rates=st.lists(st.floats(0, 5_000), max_size=300))
def test_a_plateau_is_never_less_than_what_is_given_off_and_little_more(rates: list[float]) -> None:
    levels = plateaus(rates)
    assert len(levels) == len(rates)
    for rate, level in zip(rates, levels, strict=True):
        assert rate <= level
        assert level <= rate + 1 or 0.75 * level <= rate


def test_a_long_decay_has_few_levels() -> None:
    decay = [400 * 0.99**hour for hour in range(600)]
    assert len(set(plateaus(decay))) <= 25


def test_nobody_works_on_a_holiday_or_at_a_closed_bench(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)

    def bench_shifts() -> list[sp.Shift]:
        with here.database.read() as session:
            problem = build_problem(session, here.now(), known=here.facts).problem
        return [
            one
            for station in problem.stations
            if isinstance(station, sp.Bench)
            for one in station.shifts
        ]

    before = bench_shifts()
    tomorrow = (here.now() + timedelta(days=1)).date()
    holiday = Holiday(day=tomorrow, label="Founders' day")
    say(here, ev.FacilityDescribed(facility=FACILITY.model_copy(update={"holidays": (holiday,)})))
    without = bench_shifts()
    assert len(without) == len(before) - 1
    assert set(without) < set(before)
    gone = min(set(before) - set(without), key=lambda one: one.start)
    assert 0 < gone.start < 2 * 24 * 60
    closed = ev.StationClosed(
        station="bench",
        starts_at=here.now() + timedelta(days=7),
        ends_at=here.now() + timedelta(days=14),
        reason="floor",
    )
    say(here, closed)
    assert not [one for one in bench_shifts() if one.start < 14 * 24 * 60 and one.end > 7 * 24 * 60]
