"""Work at the bench: order, methods, hours and the proposal.

What water does to glue grounds is told by the sources of ``studio_grounds.csv``; the order of tasks
is common practice; the hours are ours, so that only their shape is tested.
"""

import re
from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import events as ev
from shared.facts import (
    STRICTNESS,
    Action,
    Facts,
    FactsError,
    RoomGroup,
    StudioCallRow,
    StudioRateRow,
    facts,
    load_facts,
)
from shared.records import AreaTest, Item, StudioSheet, TaskDone
from shared.studio import (
    BenchPiece,
    comes_before,
    damp_to_shun,
    hours_for,
    in_order,
    methods_for,
    propose,
    size_of,
    why_not_method,
    why_untested,
    why_waits,
)
from shared.vocabulary import (
    AreaResult,
    Damage,
    Material,
    ObjectType,
    Permission,
    SizeClass,
    StudioTask,
)
from tests.shared.test_records_edges import told
from tests.writers import START, TAGS

TAG = TAGS[0]
KNOWN = facts()
HEADER = "table,key,column,value,signed_by,reason\n"
SIGNED = "R. Vos,our own trials"
HARD_ORDER = [
    (StudioTask.CONSOLIDATE, StudioTask.CLEAN),
    (StudioTask.LINE, StudioTask.CLEAN),
    (StudioTask.CLEAN, StudioTask.FILL),
    (StudioTask.FILL, StudioTask.INPAINT),
    (StudioTask.INPAINT, StudioTask.VARNISH),
    (StudioTask.CONSOLIDATE_FRAME, StudioTask.CAST),
    *((task, StudioTask.FIT) for task in StudioTask if task is not StudioTask.FIT),
    *(
        (task, StudioTask.MOUNT)
        for task in StudioTask
        if task not in {StudioTask.FIT, StudioTask.MOUNT}
    ),
]
"""What must hold whatever the rows say in between: as the trade has it, mount and fit last."""

faces = st.floats(0.001, 20)
pieces = st.builds(
    BenchPiece,
    object_type=st.sampled_from(ObjectType),
    materials=st.lists(st.sampled_from(Material), min_size=1, max_size=4, unique=True).map(tuple),
    damages=st.lists(st.sampled_from(Damage), max_size=5, unique=True).map(tuple),
    face_m2=faces,
    quantity=st.integers(1, 40),
)


def painting(*damages: Damage, material: Material = Material.OIL_CANVAS) -> BenchPiece:
    return BenchPiece(
        object_type=ObjectType.PAINTING, materials=(material,), damages=damages, face_m2=0.3
    )


def gilded(*damages: Damage) -> BenchPiece:
    return BenchPiece(
        object_type=ObjectType.FRAME,
        materials=(Material.GILDED_GESSO,),
        damages=damages,
        face_m2=0.3,
    )


def tasks_of(piece: BenchPiece, known: Facts = KNOWN) -> list[StudioTask]:
    return [one.task for one in propose(piece, known)]


# --- order --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("before", "after"), HARD_ORDER)
def test_what_the_trade_does_first_comes_first(before: StudioTask, after: StudioTask) -> None:
    assert before in comes_before(after, KNOWN)
    assert after not in comes_before(before, KNOWN)


@given(st.lists(st.sampled_from(StudioTask)))
def test_tasks_in_order_are_a_linear_extension(tasks: list[StudioTask]) -> None:
    ordered = in_order(tasks, KNOWN)
    assert set(ordered) == set(tasks) and len(set(ordered)) == len(ordered)
    for number, task in enumerate(ordered):
        assert comes_before(task, KNOWN).isdisjoint(ordered[number:])


@given(st.sampled_from(StudioTask), st.sets(st.sampled_from(StudioTask)))
def test_a_task_waits_exactly_while_something_before_it_is_open(
    task: StudioTask, still_open: set[StudioTask]
) -> None:
    why = why_waits(task, still_open, KNOWN)
    assert (why is None) == comes_before(task, KNOWN).isdisjoint(still_open)
    for one in comes_before(task, KNOWN) & still_open:
        assert why is not None and one.label.lower() in why


def test_a_task_says_what_it_waits_for_and_why() -> None:
    still_open = {StudioTask.CLEAN, StudioTask.CONSOLIDATE, StudioTask.VARNISH}
    assert why_waits(StudioTask.CLEAN, still_open, KNOWN) == (
        "Not yet: clean. First: consolidate the surface. A loose surface comes off with the swab."
    )
    # Fill follows consolidating only through cleaning: the reason is that of the way there.
    assert why_waits(StudioTask.FILL, {StudioTask.CONSOLIDATE}, KNOWN) == (
        "Not yet: fill losses. First: consolidate the surface. "
        "Loose paint falls when the support is handled."
    )
    # Of several ways the one through what is open is told, not one through flattening.
    both = {StudioTask.CLEAN, StudioTask.FILL}
    assert why_waits(StudioTask.INPAINT, both, KNOWN) == (
        "Not yet: inpaint. First: clean, then fill losses. "
        "Fills are matched to a clean surface and lock dirt in."
    )
    assert why_waits(StudioTask.CONSOLIDATE, still_open, KNOWN) is None


# --- water --------------------------------------------------------------------------------------

GLUED = (Material.GILDED_GESSO, Material.OIL_CANVAS_GLUE_LINED, Material.PANEL_PAINTING)


@pytest.mark.parametrize("material", GLUED)
def test_water_is_refused_on_gesso_and_hide_glue_and_nobody_lifts_it(material: Material) -> None:
    for method in KNOWN.studio_methods.values():
        refusals = why_not_method(method, (Material.CERAMIC_HIGH, material), KNOWN)
        by_water = [one for one in refusals if one.sentence.startswith("No water here: ")]
        assert [one.overridable for one in by_water] == [False] * method.water_based


def test_water_on_a_glue_size_is_for_a_conservator() -> None:
    (refusal,) = why_not_method(KNOWN.studio_methods["water-clean"], (Material.OIL_CANVAS,), KNOWN)
    assert refusal.overridable and refusal.material is Material.OIL_CANVAS
    assert refusal.sentence == (
        "No water here: the glue size under the paint swells in water. "
        "Only on a conservator's word: write the reason beside it."
    )
    assert not why_not_method(KNOWN.studio_methods["water-clean"], (Material.GLASS,), KNOWN)


def test_no_ground_allows_more_than_the_table_of_permissions() -> None:
    told_of = [key for key in KNOWN.permissions if key[1] is Action.WATER_CLEANING]
    assert len(told_of) > 10
    for material, action in told_of:
        allowed = KNOWN.permission(material, action).permission
        assert STRICTNESS[KNOWN.studio_grounds[material].water] >= STRICTNESS[allowed], material


def test_a_method_that_never_suits_a_material_is_refused() -> None:
    solvent = KNOWN.studio_methods["solvent-clean"]
    (refusal,) = why_not_method(solvent, (Material.ACRYLIC_CANVAS,), KNOWN)
    assert not refusal.overridable
    assert refusal.sentence == (
        "Solvent on small swabs: never on acrylic painting. Choose another method."
    )


def test_hide_glue_shuns_damp_air_at_the_set_point_of_its_room() -> None:
    ((material, air, words),) = damp_to_shun(
        (Material.OIL_CANVAS_GLUE_LINED, Material.GLASS, Material.OIL_CANVAS_GLUE_LINED), KNOWN
    )
    assert material is Material.OIL_CANVAS_GLUE_LINED
    assert air == KNOWN.room_set_points[RoomGroup.PAINTING]
    assert words == (
        "Hide glue lining: keep the air at 55 % humidity or less. Damp softens the glue."
    )
    assert not damp_to_shun((Material.OIL_CANVAS, Material.GLASS), KNOWN)


# --- hours --------------------------------------------------------------------------------------


@given(faces, faces)
def test_a_larger_face_is_no_smaller_size(one: float, other: float) -> None:
    order = list(SizeClass)
    small, large = sorted((one, other))
    assert order.index(size_of(small, KNOWN)) <= order.index(size_of(large, KNOWN))


def test_a_size_ends_where_the_table_says() -> None:
    assert [size_of(face, KNOWN) for face in (0.1, 0.1001, 0.5, 1.5, 1.51)] == [
        SizeClass.SMALL,
        SizeClass.MEDIUM,
        SizeClass.MEDIUM,
        SizeClass.LARGE,
        SizeClass.VERY_LARGE,
    ]


@given(pieces, faces)
def test_hours_never_fall_as_a_piece_grows(piece: BenchPiece, face: float) -> None:
    other = piece.model_copy(update={"face_m2": face})
    small, large = sorted((piece, other), key=lambda one: one.face_m2)
    for task in StudioTask:
        for method in methods_for(task, piece.materials, KNOWN):
            assert hours_for(method, small, KNOWN) <= hours_for(method, large, KNOWN)


def test_the_slowest_material_counts_and_a_dozen_pieces_at_most() -> None:
    method = KNOWN.studio_methods["dry-clean"]
    mixed = BenchPiece(
        object_type=ObjectType.OTHER, materials=(Material.PRINT_PAPER, Material.WOOD), face_m2=0.05
    )
    slowest = KNOWN.studio_rates[StudioTask.CLEAN, RoomGroup.FURNITURE].small_h
    assert hours_for(method, mixed, KNOWN) == slowest
    for count, times in ((3, 3), (12, 12), (40, 12)):
        many = mixed.model_copy(update={"quantity": count})
        assert hours_for(method, many, KNOWN) == slowest * times


def test_a_method_for_other_materials_has_no_hours() -> None:
    with pytest.raises(ValueError, match=r"^method: .* is for none of this piece's materials$"):
        hours_for(KNOWN.studio_methods["film-line"], gilded(), KNOWN)


# --- the proposal -------------------------------------------------------------------------------


@given(pieces)
def test_every_proposal_may_be_done_from_first_to_last(piece: BenchPiece) -> None:
    tasks = tasks_of(piece)
    for number, task in enumerate(tasks):
        assert why_waits(task, tasks[number:], KNOWN) is None


@given(pieces)
def test_nothing_proposed_is_refused_and_water_needs_a_ground_that_stands_it(
    piece: BenchPiece,
) -> None:
    for one in propose(piece, KNOWN):
        if one.method is None:
            assert one.hours is None and one.refused
            continue
        assert one.hours is not None and one.hours > 0
        assert not why_not_method(one.method, piece.materials, KNOWN)
        if one.method.water_based:
            grounds = [KNOWN.studio_grounds[material] for material in piece.materials]
            assert all(row.water is Permission.YES for row in grounds)


def test_a_burnt_painting_gets_what_the_trade_would_do() -> None:
    assert tasks_of(painting(Damage.FLAKING, Damage.SOOT_WET, Damage.BROKEN)) == [
        StudioTask.CONSOLIDATE,
        StudioTask.MEND,
        StudioTask.CLEAN,
        StudioTask.FILL,
        StudioTask.INPAINT,
        StudioTask.VARNISH,
        StudioTask.FIT,
    ]


def test_a_broken_gilded_frame_is_consolidated_before_its_ornament_is_cast() -> None:
    proposed = propose(gilded(Damage.BROKEN), KNOWN)
    assert [one.task for one in proposed] == [
        StudioTask.CONSOLIDATE_FRAME,
        StudioTask.MEND,
        StudioTask.CAST,
        StudioTask.FILL,
        StudioTask.GILD,
    ]
    assert [one.method.id if one.method else None for one in proposed] == [
        "resin-frame",
        "resin-mend",
        "resin-cast",
        "wax-fill",
        "oil-gild",
    ]


def test_what_no_method_may_be_proposed_for_is_still_called_for() -> None:
    bare = BenchPiece(
        object_type=ObjectType.PHOTOGRAPH,
        materials=(Material.DAGUERREOTYPE,),
        damages=(Damage.SOOT_WET,),
        face_m2=0.02,
    )
    clean = next(one for one in propose(bare, KNOWN) if one.task is StudioTask.CLEAN)
    assert clean.method is None
    assert {one.overridable for one in clean.refused} == {False}


def test_every_call_can_be_answered_and_every_task_is_called_for() -> None:
    called = {row.task for row in KNOWN.studio_calls.values()}
    assert called == set(StudioTask) == {row.task for row in KNOWN.studio_methods.values()}


# --- a test area --------------------------------------------------------------------------------


@given(st.lists(st.sampled_from(AreaResult)))
def test_cleaning_waits_for_a_small_area_whose_last_result_is_good(
    results: list[AreaResult],
) -> None:
    why = why_untested(StudioTask.CLEAN, results, KNOWN)
    assert (why is None) == (results[-1:] == [AreaResult.GOOD])
    assert why_untested(StudioTask.FILL, results, KNOWN) is None


# --- the tables ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("studio_tasks,clean,test_first,no", "holds harm off a piece"),
        ("studio_methods,water-clean,water_based,no", "holds harm off a piece"),
        ("studio_methods,solvent-clean,never_on,wax", "never dropped"),
        ("studio_methods,film-line,groups,painting; paper", "never given to one"),
        ("studio_methods,film-line,task,clean", "stands as shipped"),
        ("studio_grounds,gilded_gesso,water,conservator", "only be made stricter"),
        ("studio_grounds,gilded_gesso,shun_damp,no", "holds harm off a piece"),
        ("studio_rates,fill/painting,large_h,0.25", "can't take fewer hours"),
        ("studio_sizes,small,up_to_m2,0", "greater than 0"),
    ],
)
def test_a_facility_can_t_loosen_what_guards_a_piece(line: str, said: str) -> None:
    with pytest.raises(FactsError, match=re.escape(said)):
        load_facts(f"{HEADER}{line},{SIGNED}\n")


def test_a_facility_s_own_hours_and_stricter_rules_count() -> None:
    known = load_facts(
        f"{HEADER}studio_rates,fill/painting,medium_h,2.25,{SIGNED}\n"
        f"studio_grounds,oil_canvas,water,no,{SIGNED}\n"
        f"studio_tasks,varnish,test_first,yes,{SIGNED}\n"
        f"studio_methods,wax-fill,groups,painting; panel; furniture,{SIGNED}\n"
    )
    fill = next(one for one in propose(painting(Damage.HEAT), known) if one.task is StudioTask.FILL)
    assert fill.hours == 2.25 != KNOWN.studio_rates[StudioTask.FILL, RoomGroup.PAINTING].medium_h
    (refusal,) = why_not_method(known.studio_methods["water-clean"], (Material.OIL_CANVAS,), known)
    assert not refusal.overridable
    assert why_untested(StudioTask.VARNISH, [], known) is not None


def test_a_rate_and_a_call_must_make_sense() -> None:
    row = {
        "task": "fill",
        "group": "painting",
        "source": "common practice",
        "mark": "common practice",
    }
    hours = dict(zip(("small_h", "medium_h", "large_h", "very_large_h"), (1, 1, 2, 3), strict=True))
    assert StudioRateRow.model_validate(row | hours).hours[SizeClass.LARGE] == 2
    for (small, _), (large, _) in pairwise(hours.items()):
        with pytest.raises(ValueError, match="fewer hours"):
            StudioRateRow.model_validate(row | hours | {small: 9, large: 8})
    with pytest.raises(ValueError, match="calls for the task"):
        StudioCallRow.model_validate(
            {
                "id": "x",
                "task": "fill",
                "reason": "x",
                "source": "from memory",
                "mark": "from memory",
            }
        )


# --- the record ---------------------------------------------------------------------------------


def listed(*tasks: StudioTask, **more: object) -> ev.StudioPlanned:
    methods = {row.task: row.id for row in reversed(list(KNOWN.studio_methods.values()))}
    return ev.StudioPlanned.model_validate(
        {
            "tag": TAG,
            "tasks": [{"task": one, "method": methods[one], "hours": "2"} for one in tasks],
            "signed_by": "Con Servator",
        }
        | more
    )


def area(result: AreaResult, method: str = "dry-clean") -> ev.StudioAreaTested:
    return ev.StudioAreaTested(
        tag=TAG,
        task=StudioTask.CLEAN,
        method=method,
        spot="lower left",
        result=result,
        tested_by="Bea Bench",
    )


def done(task: StudioTask) -> ev.StudioTaskDone:
    return ev.StudioTaskDone(
        tag=TAG, task=task, method="dry-clean", done_by="Bea Bench", hours="1.5", used="sponge"
    )


def open_of(item: Item) -> list[StudioTask]:
    return item.studio.open_tasks


def test_a_piece_that_nobody_planned_for_has_an_empty_sheet() -> None:
    assert told().studio == StudioSheet()


def test_a_list_stays_open_till_each_task_is_done_or_withdrawn() -> None:
    both = listed(StudioTask.CLEAN, StudioTask.FILL, note="gently")
    sheet = told(both).studio
    assert (sheet.signed_by, sheet.note, sheet.listed) == ("Con Servator", "gently", "phone-a.2")
    assert sheet.signed_at == ev.utc_text(START + timedelta(minutes=2))
    assert sheet.open == list(both.tasks)
    item = told(both, done(StudioTask.CLEAN))
    assert open_of(item) == [StudioTask.FILL]
    assert item.studio.planned(StudioTask.FILL) == both.tasks[1]
    assert item.studio.planned(StudioTask.CLEAN) is None
    assert item.studio.done == [
        TaskDone(
            task=StudioTask.CLEAN,
            method="dry-clean",
            done_by="Bea Bench",
            hours="1.5",
            used="sponge",
            note="",
            photo=None,
            at="2031-05-06T09:03:00Z",
        )
    ]
    withdrawn = ev.StudioTaskWithdrawn(tag=TAG, task=StudioTask.FILL, reason="sound")
    assert open_of(told(both, withdrawn)) == [StudioTask.CLEAN]


def test_a_new_list_takes_the_place_of_what_was_open() -> None:
    item = told(
        listed(StudioTask.CLEAN, StudioTask.FILL),
        done(StudioTask.CLEAN),
        listed(StudioTask.CLEAN, StudioTask.VARNISH, signed_by="Other Hand"),
    )
    assert open_of(item) == [StudioTask.CLEAN, StudioTask.VARNISH]
    assert len(item.studio.done) == 1
    assert item.studio.signed_by == "Other Hand"


def test_test_areas_are_kept_by_method_in_order() -> None:
    item = told(
        area(AreaResult.GOOD), area(AreaResult.NOT_GOOD, "water-clean"), area(AreaResult.GOOD)
    )
    assert item.studio.results(StudioTask.CLEAN, "dry-clean") == [AreaResult.GOOD, AreaResult.GOOD]
    assert item.studio.results(StudioTask.CLEAN, "water-clean") == [AreaResult.NOT_GOOD]
    assert item.studio.tests[0] == AreaTest(
        task=StudioTask.CLEAN,
        method="dry-clean",
        spot="lower left",
        result=AreaResult.GOOD,
        tested_by="Bea Bench",
        note="",
        photo=None,
        at="2031-05-06T09:02:00Z",
    )


def test_a_task_stands_once_on_a_list() -> None:
    with pytest.raises(ValueError, match="the same task is there twice"):
        listed(StudioTask.CLEAN, StudioTask.CLEAN)
