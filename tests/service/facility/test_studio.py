"""The studio step: what the log refuses, what the planner takes, what today's page says."""

import math

import pytest

from scheduler.problem import BenchStep
from service.assessing import remaining_steps
from service.facility.planning import build_problem
from service.facility.studio import at_bench
from service.facility.today import standing_of, waits_in_studio
from service.installation import Installation
from service.log import reading
from shared import events as ev
from shared.facts import RoomGroup, facts
from shared.records import Item
from shared.vocabulary import (
    AreaResult,
    Damage,
    Material,
    ObjectType,
    PartRole,
    Role,
    StepKind,
    StudioTask,
)
from tests.service.facility.house import (
    BOWL,
    CANVAS,
    CONSERVATOR,
    PANE,
    VASE,
    bring,
    finish,
    furnish,
    say,
    why_refused,
)

GRID_MIN = 15
FIRST_METHOD = {row.task: row.id for row in reversed(list(facts().studio_methods.values()))}


@pytest.fixture(autouse=True)
def house(here: Installation) -> None:
    furnish(here)


def item_of(here: Installation, tag: str) -> Item:
    with here.database.read() as session:
        found = reading.item(session, reading.EVERYTHING, tag)
    assert found is not None
    return found


def canvas(here: Installation, tag: str = CANVAS, material: Material = Material.OIL_CANVAS) -> None:
    """A torn painting whose paint is loose and which is stable otherwise."""
    damages = (Damage.FLAKING, Damage.BROKEN)
    bring(here, tag, *damages, object_type=ObjectType.PAINTING, materials=(material,))
    finish(here, tag, StepKind.STABILISE)


def frame(here: Installation, tag: str = PANE, **facts: object) -> None:
    bring(
        here,
        tag,
        Damage.BROKEN,
        object_type=ObjectType.FRAME,
        materials=(Material.GILDED_GESSO,),
        **facts,
    )
    finish(here, tag, StepKind.STABILISE)


def task(
    kind: StudioTask, method: str = "", hours: str = "2", override: str = ""
) -> ev.PlannedTask:
    return ev.PlannedTask(
        task=kind, method=method or FIRST_METHOD[kind], hours=hours, override=override
    )


def why_not_signed(
    here: Installation,
    tag: str,
    *tasks: ev.PlannedTask,
    role: Role = Role.CONSERVATOR,
    after: str | None = None,
) -> str | None:
    body = ev.StudioPlanned(tag=tag, tasks=tasks, signed_by=CONSERVATOR, after=after)
    return why_refused(here, body, role=role, actor=CONSERVATOR)


def sign(here: Installation, tag: str, *tasks: ev.PlannedTask) -> None:
    after = item_of(here, tag).studio.listed
    assert why_not_signed(here, tag, *tasks, after=after) is None


def record_area(here: Installation, tag: str, method: str, result: AreaResult) -> None:
    say(
        here,
        ev.StudioAreaTested(
            tag=tag,
            task=StudioTask.CLEAN,
            method=method,
            spot="lower edge",
            result=result,
            tested_by=CONSERVATOR,
        ),
    )


def why_not(here: Installation, tag: str, kind: StudioTask, method: str = "") -> str | None:
    body = ev.StudioTaskDone(
        tag=tag,
        task=kind,
        method=method or FIRST_METHOD[kind],
        done_by="Bea Bench",
        hours="1",
        used="none",
    )
    return why_refused(here, body, role=Role.CONSERVATOR, actor="Bea Bench")


# --- signing a list -----------------------------------------------------------------------------


def test_only_a_conservator_signs_a_list(here: Installation) -> None:
    canvas(here)
    clean = task(StudioTask.CLEAN)
    assert why_not_signed(here, CANVAS, clean, role=Role.LEAD) == (
        "role: only a conservator may sign a studio list"
    )
    assert why_not_signed(here, CANVAS, clean) is None
    assert item_of(here, CANVAS).studio.open == [clean]


def test_a_list_for_a_tag_that_nothing_carries(here: Installation) -> None:
    assert "no piece carries the tag" in (why_not_signed(here, BOWL, task(StudioTask.FIT)) or "")


def test_no_water_on_gesso_whoever_signs(here: Installation) -> None:
    frame(here)
    watery = [row for row in here.facts.studio_methods.values() if row.water_based]
    for row in watery:
        why = why_not_signed(here, PANE, task(row.task, row.id, override="I know better"))
        assert why is not None
        if RoomGroup.PANEL in row.groups:
            assert "No water here: gesso, hide glue and water gilding dissolve in water." in why
        else:
            assert "not for what this piece is made of" in why
    assert len({row.task for row in watery}) > 5


def test_water_on_glue_size_needs_the_conservator_s_reason(here: Installation) -> None:
    canvas(here)
    assert why_not_signed(here, CANVAS, task(StudioTask.CLEAN, "water-clean")) == (
        "Clean: No water here: the glue size under the paint swells in water. "
        "Only on a conservator's word: write the reason beside it."
    )
    lifted = task(StudioTask.CLEAN, "water-clean", override="sealed by its varnish; tested")
    assert why_not_signed(here, CANVAS, lifted) is None


def test_a_method_of_another_task_or_of_nothing(here: Installation) -> None:
    canvas(here)
    for method in ("spray-varnish", "no-such-way"):
        assert why_not_signed(here, CANVAS, task(StudioTask.CLEAN, method)) == (
            f"Clean: there is no method {method} for it. Choose one from the list."
        )


def test_two_conservators_do_not_overwrite_each_other(here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.CLEAN))
    late = why_not_signed(here, CANVAS, task(StudioTask.FILL))
    assert late is not None and late.startswith("Somebody has signed another list")
    assert item_of(here, CANVAS).studio.open_tasks == [StudioTask.CLEAN]
    sign(here, CANVAS, task(StudioTask.FILL))
    assert item_of(here, CANVAS).studio.open_tasks == [StudioTask.FILL]


def test_what_comes_before_what_is_done_needs_a_reason(here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.FILL))
    assert why_not(here, CANVAS, StudioTask.FILL) is None
    seen = item_of(here, CANVAS).studio.listed
    assert why_not_signed(here, CANVAS, task(StudioTask.CONSOLIDATE), after=seen) == (
        "Consolidate the surface comes before what is done already: fill losses. "
        "Write the reason beside it."
    )
    sign(here, CANVAS, task(StudioTask.CONSOLIDATE, override="a new flake"))


# --- doing it -----------------------------------------------------------------------------------


def test_the_order_is_kept(here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.INPAINT), task(StudioTask.FILL))
    assert why_not(here, CANVAS, StudioTask.INPAINT) == (
        "Not yet: inpaint. First: fill losses. Colour goes on a level fill."
    )
    assert why_not(here, CANVAS, StudioTask.FILL) is None
    assert why_not(here, CANVAS, StudioTask.INPAINT) is None
    assert item_of(here, CANVAS).studio.open == []


def test_what_nobody_listed_is_not_done(here: Installation) -> None:
    canvas(here)
    why = "Fill losses is not open on this piece's studio list. "
    assert (why_not(here, CANVAS, StudioTask.FILL) or "").startswith(why)
    sign(here, CANVAS, task(StudioTask.FILL))
    assert why_not(here, CANVAS, StudioTask.FILL) is None
    assert (why_not(here, CANVAS, StudioTask.FILL) or "").startswith(why)
    assert "no piece carries" in (why_not(here, BOWL, StudioTask.FILL) or "")


def test_cleaning_waits_for_a_good_test_area_of_the_same_method(here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.CLEAN, "solvent-clean"))
    untested = "Not yet: clean. Test a small area with this method first, and record it."
    assert why_not(here, CANVAS, StudioTask.CLEAN, "solvent-clean") == untested
    record_area(here, CANVAS, "dry-clean", AreaResult.GOOD)
    assert why_not(here, CANVAS, StudioTask.CLEAN, "solvent-clean") == untested
    record_area(here, CANVAS, "solvent-clean", AreaResult.GOOD)
    record_area(here, CANVAS, "solvent-clean", AreaResult.NOT_GOOD)
    assert why_not(here, CANVAS, StudioTask.CLEAN, "solvent-clean") == (
        "Not yet: clean. The last test area was not good. Test again, or choose another method."
    )
    record_area(here, CANVAS, "solvent-clean", AreaResult.GOOD)
    assert why_not(here, CANVAS, StudioTask.CLEAN, "solvent-clean") is None


def test_the_word_for_one_method_lifts_nothing_for_another(here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.CLEAN, "dry-clean", override="careful"))
    record_area(here, CANVAS, "water-clean", AreaResult.GOOD)
    assert "No water here" in (why_not(here, CANVAS, StudioTask.CLEAN, "water-clean") or "")
    sign(here, CANVAS, task(StudioTask.CLEAN, "water-clean", override="tested, stands it"))
    assert why_not(here, CANVAS, StudioTask.CLEAN, "water-clean") is None


def test_the_studio_waits_for_the_steps_before_it(here: Installation) -> None:
    bring(here, VASE, Damage.SMOKE_ODOUR, Damage.BROKEN)
    sign(here, VASE, task(StudioTask.MEND))
    assert why_not(here, VASE, StudioTask.MEND) == (
        "The studio works on dry, clean, aired pieces. Still to do: stabilise, chamber run, air."
    )


def test_a_painting_is_fitted_when_its_frame_is_finished_too(here: Installation) -> None:
    canvas(here)
    frame(here, parent=CANVAS, role=PartRole.FRAME, title="Old frame")
    sign(here, CANVAS, task(StudioTask.FIT))
    sign(here, PANE, task(StudioTask.CAST))
    assert why_not(here, CANVAS, StudioTask.FIT) == (
        "Not yet: fit into the frame. First finish Old frame: cast missing ornament."
    )
    assert why_not(here, PANE, StudioTask.CAST) is None
    assert why_not(here, CANVAS, StudioTask.FIT) is None


def test_only_a_conservator_takes_a_task_off(here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.FILL))
    off = ev.StudioTaskWithdrawn(tag=CANVAS, task=StudioTask.FILL, reason="sound")
    assert "only a conservator" in (why_refused(here, off) or "")
    say(here, off, role=Role.CONSERVATOR, actor=CONSERVATOR)
    again = why_refused(here, off, role=Role.CONSERVATOR, actor=CONSERVATOR)
    assert again is not None and "is not open" in again


def test_the_studio_is_not_finished_while_its_list_is_open(here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.FILL), task(StudioTask.FIT))
    over = ev.StepDone(tag=CANVAS, step=StepKind.STUDIO, started_at=here.now(), ended_at=here.now())
    assert why_refused(here, over) == (
        "The studio list is still open: fill losses, fit into the frame. "
        "Do it, or have it taken off the list."
    )
    assert why_not(here, CANVAS, StudioTask.FILL) is None
    assert why_not(here, CANVAS, StudioTask.FIT) is None
    assert why_refused(here, over) is None
    assert remaining_steps(item_of(here, CANVAS), here.facts) == [StepKind.RETURN]
    sign(here, CANVAS, task(StudioTask.VARNISH, override="scratched"))
    assert StepKind.STUDIO in remaining_steps(item_of(here, CANVAS), here.facts)


# --- planning -----------------------------------------------------------------------------------


def studio_min(here: Installation, tag: str) -> int:
    """Minutes that the planner gives the studio step."""
    with here.database.read() as session:
        problem = build_problem(session, here.now(), known=here.facts).problem
    item = next(one for one in problem.items if one.id == tag)
    return sum(
        step.min_min
        for step in item.steps
        if isinstance(step, BenchStep) and step.id.startswith("studio")
    )


def test_the_planner_takes_the_hours_of_the_list_and_less_as_it_is_done(
    here: Installation,
) -> None:
    canvas(here)
    by_table = studio_min(here, CANVAS)
    sign(here, CANVAS, task(StudioTask.FILL, hours="2.5"), task(StudioTask.INPAINT, hours="4"))
    assert studio_min(here, CANVAS) == 390 != by_table
    assert why_not(here, CANVAS, StudioTask.FILL) is None
    assert studio_min(here, CANVAS) == 240
    off = ev.StudioTaskWithdrawn(tag=CANVAS, task=StudioTask.INPAINT, reason="sound")
    say(here, off, role=Role.CONSERVATOR, actor=CONSERVATOR)
    assert studio_min(here, CANVAS) == GRID_MIN


def test_long_work_takes_several_sessions_that_make_up_its_hours(here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.INPAINT, hours="30"))
    minutes = studio_min(here, CANVAS)
    sessions = math.ceil(30 / 9)
    assert 30 * 60 <= minutes <= 30 * 60 + sessions * GRID_MIN


def test_a_sound_piece_with_a_list_goes_through_the_studio(here: Installation) -> None:
    bring(here, VASE, Damage.NONE_SEEN)
    assert remaining_steps(item_of(here, VASE), here.facts) == [StepKind.RETURN]
    sign(here, VASE, task(StudioTask.FILL, hours="1"))
    assert remaining_steps(item_of(here, VASE), here.facts) == [StepKind.STUDIO, StepKind.RETURN]
    assert studio_min(here, VASE) == 60


# --- today --------------------------------------------------------------------------------------


def told(here: Installation, *tags: str) -> list[tuple[str, str, str]]:
    with here.database.read() as session:
        book = reading.facility(session)
        pieces = [
            standing_of(item_of(here, tag), None, book, here.now(), here.facts) for tag in tags
        ]
    return [(one.what, one.why, one.who) for one in waits_in_studio(pieces)]


def test_today_tells_the_next_task_and_on_whom_it_waits(here: Installation) -> None:
    canvas(here)
    frame(here)
    bring(here, VASE, Damage.BROKEN)  # not stable yet: nothing waits in the studio
    assert told(here, CANVAS, PANE, VASE) == [
        ("2 pieces", "Studio. No list is signed: what to do, and how long it takes.", "Conservator")
    ]
    sign(here, CANVAS, task(StudioTask.CLEAN), task(StudioTask.FILL))
    assert told(here, CANVAS) == [
        (
            "Piece 05S",
            "Studio. Not yet: clean. Test a small area with this method first, and record it.",
            "Conservator",
        )
    ]
    record_area(here, CANVAS, "dry-clean", AreaResult.GOOD)
    assert told(here, CANVAS) == [("Piece 05S", "Studio. Next: clean.", "Bench")]
    assert why_not(here, CANVAS, StudioTask.CLEAN) is None
    assert told(here, CANVAS) == [("Piece 05S", "Studio. Next: fill losses.", "Bench")]
    assert why_not(here, CANVAS, StudioTask.FILL) is None
    assert told(here, CANVAS) == [
        (
            "Piece 05S",
            "Studio. The list is done: record that the studio treatment is finished.",
            "Lead",
        )
    ]
    finish(here, CANVAS, StepKind.STUDIO)
    assert told(here, CANVAS) == []


def test_what_waits_for_an_earlier_step_waits_on_the_lead(here: Installation) -> None:
    bring(here, VASE, Damage.BROKEN)
    sign(here, VASE, task(StudioTask.MEND))
    item = item_of(here, VASE)
    found = at_bench(item, remaining_steps(item, here.facts), here.facts)
    assert found is not None and (found.ready, found.who) == (False, "Lead")
    assert found.words.endswith("Still to do: stabilise.")
