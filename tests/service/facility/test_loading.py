"""What stops a piece at the chamber door, and who may lift which stop."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

import scheduler.problem as sp
from scheduler.consistency import why_unusable
from service.facility.loading import fits, litres, rail_mm
from service.installation import Installation
from service.log.append import Log
from shared import events as ev
from shared.facts import facts
from shared.records import Item
from shared.vocabulary import Damage, Material, ObjectType, PartRole, Phase, Role, StepKind
from tests.service.conftest import Clock
from tests.service.facility.house import (
    AIR,
    BOWL,
    CANVAS,
    CHAMBER,
    CONSERVATOR,
    FACILITY,
    GAS,
    LEAD,
    PANE,
    PLATE,
    VASE,
    allow,
    bring,
    enter,
    finish,
    furnish,
    open_run,
    say,
    size,
    why_not_loaded,
    why_refused,
)


@pytest.fixture(autouse=True)
def house(here: Installation) -> None:
    furnish(here)


def test_a_dry_clean_permitted_piece_goes_in(here: Installation) -> None:
    bring(here, VASE)
    open_run(here, VASE, programme=AIR)
    assert why_not_loaded(here, VASE) is None


def test_a_run_that_was_never_opened(here: Installation) -> None:
    bring(here, VASE)
    assert why_not_loaded(here, VASE) == "STOP: there is no run run-1. Open it first."


def test_a_tag_that_nothing_carries(here: Installation) -> None:
    bring(here, VASE)
    open_run(here, VASE, programme=AIR)
    assert why_not_loaded(here, BOWL) == f"STOP: no piece carries the tag {BOWL}. Scan it again."


def test_a_piece_that_is_not_on_the_sheet(here: Installation) -> None:
    bring(here, VASE)
    bring(here, BOWL, title="Wrong bowl")
    open_run(here, VASE, programme=AIR)
    stopped = (
        "STOP: wrong piece. Wrong bowl is not on this run's sheet. "
        "Put it back, or add it to the sheet."
    )
    assert why_not_loaded(here, BOWL) == stopped


@pytest.mark.parametrize("phase", [Phase.SEALED, Phase.ABORTED])
def test_a_run_that_is_not_being_loaded(here: Installation, phase: Phase) -> None:
    bring(here, VASE)
    open_run(here, VASE, programme=AIR)
    say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    enter(here, phase)
    assert f"it is “{phase.label}”" in (why_not_loaded(here, VASE) or "")


def test_a_chamber_that_has_been_dosed_already(here: Installation) -> None:
    bring(here, VASE)
    allow(here, VASE)
    open_run(here, VASE)
    mass = ev.Mass(value="3", unit="g")
    say(here, ev.DoseAdded(run="run-1", mass=mass, at=here.now()))
    assert why_not_loaded(here, VASE) == (
        "STOP: agent has been dosed into this chamber. Keep it shut."
    )


@pytest.mark.parametrize(
    ("damages", "done", "material", "words"),
    [
        ((Damage.SOAKED, Damage.SMOKE_ODOUR), (), Material.CERAMIC_HIGH, "dry it first"),
        ((Damage.SOOT_WET,), (StepKind.STABILISE,), Material.CERAMIC_HIGH, "Take the soot off"),
        ((Damage.SMOKE_ODOUR,), (), Material.SILVER, "Ozone on silver: not allowed"),
        ((Damage.SMOKE_ODOUR,), (), Material.GLASS, "only on a conservator's word"),
        ((Damage.SMOKE_ODOUR,), (), Material.MARBLE_ALABASTER, "Odour gas excludes marble"),
        ((Damage.WARPED,), (), Material.CERAMIC_HIGH, "is not for this piece"),
    ],
    ids=["wet", "soot still on", "forbidden", "conservator", "excluded", "not for it"],
)
def test_what_the_rules_stop(
    here: Installation,
    damages: tuple[Damage, ...],
    done: tuple[StepKind, ...],
    material: Material,
    words: str,
) -> None:
    bring(here, VASE, *damages, materials=(material,), title="Tall jar")
    finish(here, VASE, *done)
    open_run(here, VASE)
    stopped = why_not_loaded(here, VASE) or ""
    assert stopped.startswith("STOP: Tall jar. ")
    assert words in stopped


def test_an_override_lifts_what_may_be_lifted(here: Installation) -> None:
    bring(here, VASE)
    open_run(here, VASE)
    assert "conservator's word" in (why_not_loaded(here, VASE) or "")
    allow(here, VASE)
    assert why_not_loaded(here, VASE) is None


@pytest.mark.parametrize(
    ("material", "damages", "words"),
    [
        (Material.SILVER, (Damage.SMOKE_ODOUR,), "Ozone on silver: not allowed"),
        (Material.CERAMIC_HIGH, (Damage.SOAKED, Damage.SMOKE_ODOUR), "dry it first"),
        (Material.MARBLE_ALABASTER, (Damage.SMOKE_ODOUR,), "excludes marble"),
    ],
    ids=["a material the tables forbid", "a wet piece", "what the signer excluded"],
)
def test_an_override_does_not_lift_what_stands_for_everybody(
    here: Installation, material: Material, damages: tuple[Damage, ...], words: str
) -> None:
    bring(here, VASE, *damages, materials=(material,))
    allow(here, VASE, materials=(material,))
    open_run(here, VASE)
    assert words in (why_not_loaded(here, VASE) or "")


def test_an_override_is_for_the_pieces_materials_and_days_it_names(
    here: Installation, clock: Clock
) -> None:
    bring(here, VASE)
    bring(here, BOWL)
    bring(here, PANE, materials=(Material.GLASS,))
    allow(here, VASE, PANE, expires=clock.at.date())
    open_run(here, VASE, BOWL, PANE)
    assert "conservator" in (why_not_loaded(here, BOWL) or "")
    assert "Ozone on glass" in (why_not_loaded(here, PANE) or "")
    assert why_not_loaded(here, VASE) is None
    clock.forward(days=1)
    assert "conservator" in (why_not_loaded(here, VASE) or "")


@pytest.mark.parametrize("role", [one for one in Role if one is not Role.CONSERVATOR])
def test_only_a_conservator_signs_an_override(here: Installation, role: Role) -> None:
    bring(here, VASE)
    open_run(here, VASE)
    body = ev.OverrideSigned(
        override="OV-1",
        tags=(VASE,),
        agent=GAS.agent,
        materials=(Material.CERAMIC_HIGH,),
        reason="because",
        signed_by=CONSERVATOR,
        expires=date(2032, 1, 1),
    )
    assert why_refused(here, body, role=role) == (
        "role: only a conservator may sign an override; ask one"
    )
    assert why_not_loaded(here, VASE) is not None


def test_the_material_of_a_part_that_goes_in_with_it_counts(here: Installation) -> None:
    bring(here, CANVAS, object_type=ObjectType.PAINTING)
    bring(here, PANE, parent=CANVAS, role=PartRole.FRAME, materials=(Material.SILVER,))
    allow(here, CANVAS)
    open_run(here, CANVAS, PANE)
    assert "Ozone on silver" in (why_not_loaded(here, CANVAS) or "")


def test_a_programme_that_expired_between_opening_and_loading(
    here: Installation, clock: Clock
) -> None:
    bring(here, VASE)
    open_run(here, VASE, programme=AIR)
    clock.at = datetime(2032, 1, 1, tzinfo=UTC)
    assert "expired on 2031-12-31" in (why_not_loaded(here, VASE) or "")


@pytest.mark.parametrize(
    ("height", "width", "depth", "words"),
    [
        ("95", "91", "85", "at its narrowest, the door 800 × 900 mm"),
        ("140", "30", "10", "the chamber inside 1000 × 1000 × 1000 mm"),
    ],
)
def test_a_piece_that_does_not_fit(
    here: Installation, height: str, width: str, depth: str, words: str
) -> None:
    bring(here, VASE, size=size(height, width, depth), title="Big jar")
    open_run(here, VASE, programme=AIR)
    stopped = why_not_loaded(here, VASE) or ""
    assert stopped.startswith("STOP: Big jar does not fit: it is ")
    assert words in stopped


def test_over_fill_counts_what_is_in_already(here: Installation) -> None:
    # 0.8 m × 0.8 m × 0.4 m is 256 L each, and half of 1000 L may be used.
    for tag in (VASE, BOWL):
        bring(here, tag, size=size("80", "80", "40"))
    open_run(here, VASE, BOWL, programme=AIR)
    assert why_not_loaded(here, VASE) is None
    assert why_not_loaded(here, BOWL) == (
        "STOP: over fill. 512 L with this piece, and 500 L may be used. "
        "Keep it out for the next run."
    )


def test_over_fill_counts_what_the_same_message_loads(here: Installation) -> None:
    for tag in (VASE, BOWL):
        bring(here, tag, size=size("80", "80", "40"))
    open_run(here, VASE, BOWL, programme=AIR)
    with pytest.raises(ValueError, match="over fill"):
        say(here, *(ev.ItemLoaded(run="run-1", tag=tag) for tag in (VASE, BOWL)))


def test_a_full_rail(here: Installation) -> None:
    # A piece 30 cm deep and the 5 cm beside it take 350 mm; the rail has 600 mm.
    for tag in (VASE, BOWL):
        bring(here, tag, size=size("20", "20", "30"))
    open_run(here, VASE, BOWL, programme=AIR)
    assert why_not_loaded(here, VASE) is None
    assert why_not_loaded(here, BOWL) == (
        "STOP: rail full. 700 mm with this piece, of 600 mm. Keep it out for the next run."
    )


def test_scanning_a_piece_twice_does_not_count_it_twice(here: Installation) -> None:
    bring(here, VASE, size=size("20", "20", "30"))
    open_run(here, VASE, programme=AIR)
    assert why_not_loaded(here, VASE) is None
    assert why_not_loaded(here, VASE) is None


def test_a_set_takes_the_room_of_all_of_it() -> None:
    one = Item(tag=VASE, size=size("20", "20", "10"))
    six = one.model_copy(update={"quantity": 6})
    assert litres(six, facts()) == pytest.approx(6 * litres(one, facts())) == pytest.approx(24)
    assert rail_mm(six, facts()) == 6 * rail_mm(one, facts()) == 6 * 150


def test_a_piece_that_nobody_measured_is_not_stopped_for_its_size() -> None:
    assert fits(Item(tag=VASE), CHAMBER, facts()) is None


@given(sides=st.tuples(*(st.integers(1, 1_300) for _ in range(3))))
def test_the_door_and_the_planner_agree_on_what_fits(sides: tuple[int, int, int]) -> None:
    height, width, depth = (str(side / 10) for side in sides)
    piece = Item(tag=VASE, size=size(height, width, depth))
    planned = sp.Item(
        id="x",
        size_mm=sp.Extent(*(max(side, 5 if n == 2 else 1) for n, side in enumerate(sides))),
        steps=(sp.BatchStep(id="chamber", stations=("box",), programme="gas", min_min=1),),
    )
    chamber = sp.Chamber(
        id="box",
        usable_l=10_000,
        door_mm=sp.Opening(*CHAMBER.door_mm),
        inside_mm=sp.Extent(*CHAMBER.inside_mm),
        programmes=("gas",),
    )
    assert (fits(piece, CHAMBER, facts()) is None) == (
        why_unusable(planned, planned.steps[0], chamber) is None
    )


def test_the_chamber_of_an_open_run_is_not_taken_out(here: Installation) -> None:
    bring(here, VASE)
    open_run(here, VASE, programme=AIR)
    rest = tuple(one for one in FACILITY.stations if one.id != "box")
    gone = ev.FacilityDescribed(facility=FACILITY.model_copy(update={"stations": rest}))
    assert "can't be taken out" in (why_refused(here, gone) or "")
    assert why_not_loaded(here, VASE) is None
    # A log may hold it from before it was refused.
    unguarded = Log(here.database, here.settings.signer(), now=here.now)
    unguarded.say(
        ev.FacilityDescribed(facility=FACILITY.model_copy(update={"stations": rest})),
        actor=LEAD,
        role=Role.LEAD,
    )
    stopped = "STOP: the run's programme or chamber is not on file. Ask the lead."
    assert why_not_loaded(here, VASE) == stopped


def test_time_alone_does_not_dry_a_piece(here: Installation, clock: Clock) -> None:
    bring(here, VASE, Damage.SOAKED, Damage.SMOKE_ODOUR)
    open_run(here, VASE, programme=AIR)
    clock.at += timedelta(days=30)
    assert "dry it first" in (why_not_loaded(here, VASE) or "")
    finish(here, VASE, StepKind.STABILISE, StepKind.DRY)
    assert why_not_loaded(here, VASE) is None


def test_a_piece_of_another_run_is_stopped_till_that_run_lets_it_go(here: Installation) -> None:
    bring(here, VASE, title="Tall jar")
    bring(here, BOWL)
    open_run(here, VASE, BOWL, run="other", programme=AIR, station="spare")
    open_run(here, VASE, programme=AIR)
    say(here, ev.ItemLoaded(run="other", tag=VASE))
    assert why_not_loaded(here, VASE) == (
        "STOP: Tall jar stands in run other. Take it out of that run first."
    )
    say(here, ev.RunItemRemoved(run="other", tag=VASE, reason="wanted in the other chamber"))
    assert why_not_loaded(here, VASE) is None


def test_a_piece_that_is_to_pass_through_two_runs_goes_into_the_first(here: Installation) -> None:
    bring(here, VASE)
    say(
        here,
        ev.RunOpened(run="later", station="spare", programme="air", version=1, tags=(VASE,)),
    )
    open_run(here, VASE, programme=AIR)
    assert why_not_loaded(here, VASE) is None


def test_a_run_given_up_with_the_piece_inside_still_holds_it(here: Installation) -> None:
    bring(here, VASE)
    open_run(here, VASE, run="other", programme=AIR, station="spare")
    say(here, ev.ItemLoaded(run="other", tag=VASE))
    enter(here, Phase.ABORTED, run="other")
    open_run(here, VASE, programme=AIR)
    assert "stands in run other" in (why_not_loaded(here, VASE) or "")


def _added(here: Installation, tag: str) -> str | None:
    return why_refused(here, ev.RunItemAdded(run="run-1", tag=tag))


def test_adding_to_the_sheet_asks_what_the_door_asks(here: Installation) -> None:
    bring(here, VASE)
    bring(here, BOWL, Damage.SOAKED, Damage.SMOKE_ODOUR)
    bring(here, PANE, size=size("140", "30", "10"))
    open_run(here, VASE, programme=AIR)
    assert "dry it first" in (_added(here, BOWL) or "")
    assert "does not fit" in (_added(here, PANE) or "")


def test_adding_counts_the_whole_sheet_loaded_or_not(here: Installation) -> None:
    for tag in (VASE, BOWL):
        bring(here, tag, size=size("80", "80", "40"))
    open_run(here, VASE, programme=AIR)
    assert "over fill" in (_added(here, BOWL) or "")


def test_only_a_stop_that_may_be_signed_off_sends_for_a_conservator(here: Installation) -> None:
    bring(here, VASE)
    bring(here, BOWL, materials=(Material.SILVER,))
    open_run(here, VASE, BOWL)
    assert (why_not_loaded(here, VASE) or "").endswith("Ask a conservator.")
    assert (why_not_loaded(here, BOWL) or "").endswith("Put it aside.")


def test_every_stop_is_short_and_says_what_to_do(here: Installation) -> None:
    """Each stop at the door, as a person in gloves reads it: at most 25 words."""
    bring(here, VASE, title="Long winded title of a very tall jar")
    bring(here, BOWL, Damage.SOAKED, Damage.SMOKE_ODOUR)
    bring(here, PANE, Damage.WARPED)
    bring(here, CANVAS, Damage.SOOT_WET)
    bring(here, PLATE, size=size("95", "91", "85"))
    open_run(here, VASE, BOWL, PANE, CANVAS)
    open_run(here, VASE, PLATE, run="other", programme=AIR, station="spare")
    say(here, ev.ItemLoaded(run="other", tag=VASE))
    stops = {
        "another run": why_not_loaded(here, VASE),
        "wet": why_not_loaded(here, BOWL),
        "another programme": why_not_loaded(here, PANE),
        "soot": why_not_loaded(here, CANVAS),
        "not on the sheet": why_not_loaded(here, PLATE),
        "too big": why_not_loaded(here, PLATE, run="other"),
        "no run": why_not_loaded(here, VASE, run="none"),
    }
    for what, sentence in stops.items():
        assert sentence is not None, what
        assert sentence.startswith("STOP: "), what
        assert len(sentence.split()) <= 25, (what, len(sentence.split()), sentence)
        assert any(
            mend in sentence
            for mend in ("Put it", "Take it", "Open it", "Scan it", "Keep it", "Ask the lead")
        ), (what, sentence)
