"""What the log refuses about programmes, runs and phases, and that it never refuses a fact."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from service.facility import guards
from service.facility.runs import NEXT_PHASES
from service.installation import Installation
from service.log import reading
from shared import events as ev
from shared.clearance import State
from shared.vocabulary import Phase, Role, Target
from tests.service.conftest import Clock
from tests.service.facility.house import (
    AIR,
    BOWL,
    FACILITY,
    FUMIGATOR,
    GAS,
    LEAD,
    LICENCE,
    VASE,
    ZONES,
    allow,
    bring,
    enter,
    furnish,
    gas_read,
    hand_of,
    open_run,
    read_all,
    say,
    sign_both,
    why_not_loaded,
    why_not_opened,
    why_refused,
)
from tests.writers import LOSS, Writer, plain

LEGAL = {
    Phase.PLANNED: {Phase.LOADING, Phase.ABORTED},
    Phase.LOADING: {Phase.SEALED, Phase.ABORTED},
    Phase.SEALED: {Phase.DOSING, Phase.HOLDING, Phase.LOADING, Phase.ABORTED},
    Phase.DOSING: {Phase.HOLDING, Phase.AIRING, Phase.ABORTED},
    Phase.HOLDING: {Phase.DOSING, Phase.AIRING, Phase.ABORTED},
    Phase.AIRING: {Phase.DOSING, Phase.ABORTED},
    Phase.ABORTED: {Phase.AIRING},
    Phase.CLEARED: {Phase.UNLOADED},
    Phase.UNLOADED: set(),
}
"""What may follow what as long as nothing was dosed and the chamber was not opened."""

WAY_TO = {
    Phase.PLANNED: (),
    Phase.LOADING: (Phase.LOADING,),
    Phase.SEALED: (Phase.LOADING, Phase.SEALED),
    Phase.DOSING: (Phase.LOADING, Phase.SEALED, Phase.DOSING),
    Phase.HOLDING: (Phase.LOADING, Phase.SEALED, Phase.HOLDING),
    Phase.AIRING: (Phase.LOADING, Phase.SEALED, Phase.HOLDING, Phase.AIRING),
    Phase.ABORTED: (Phase.LOADING, Phase.ABORTED),
}


@pytest.fixture(autouse=True)
def house(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    allow(here, VASE)


def opened(run: str = "run-1", station: str = "box", programme: str = "gas") -> ev.RunOpened:
    return ev.RunOpened(run=run, station=station, programme=programme, version=1, tags=(VASE,))


def phase(here: Installation, name: Phase, run: str = "run-1") -> ev.PhaseEntered:
    return ev.PhaseEntered(run=run, phase=name, at=here.now())


def dosed(here: Installation, run: str = "run-1") -> ev.DoseAdded:
    return ev.DoseAdded(run=run, mass=ev.Mass(value="3", unit="g"), at=here.now())


def reach(here: Installation, wanted: Phase) -> None:
    """A gas run brought to a phase, with its one piece inside once it is sealed."""
    say(here, opened())
    for one in WAY_TO[wanted]:
        if one is Phase.SEALED:
            say(here, ev.ItemLoaded(run="run-1", tag=VASE))
        enter(here, one)


def air_and_measure(here: Installation, clock: Clock) -> str:
    """From airing on: a closed hold, two passes an hour apart, two signatures."""
    start = clock.forward(minutes=1)
    for _ in range(2):
        clock.forward(hours=2)
        read_all(here)
    say(here, ev.HoldClosed(run="run-1", starts_at=start, ends_at=here.now()))
    return sign_both(here)


# --- programmes and runs ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"programme": "steam"}, "programme: steam version 1 is not on file; have it signed"),
        ({"version": 2}, "programme: gas version 2 is not on file; have it signed"),
        ({"station": "bench"}, "station: bench is no chamber of this facility; choose another"),
        ({"station": "nowhere"}, "station: nowhere is no chamber of this facility; choose another"),
    ],
)
def test_a_run_of_what_is_not_there(
    here: Installation, change: dict[str, object], words: str
) -> None:
    assert why_refused(here, opened().model_copy(update=change)) == words


def test_a_run_in_a_chamber_that_may_not_run_the_programme(here: Installation) -> None:
    steam = AIR.model_copy(update={"id": "steam", "label": "Other air"})
    say(here, ev.ProgrammeSigned(programme=steam))
    assert why_refused(here, opened(programme="steam")) == (
        "station: Box chamber may not run Other air; choose another chamber"
    )


def test_a_run_of_an_expired_programme(here: Installation, clock: Clock) -> None:
    clock.at = datetime(2032, 1, 1, tzinfo=UTC)
    assert why_refused(here, opened()) == (
        "programme: Odour gas expired on 2031-12-31; have it signed anew"
    )


def test_the_last_day_of_a_programme_still_counts(here: Installation, clock: Clock) -> None:
    clock.at = datetime(2031, 12, 31, 12, tzinfo=UTC)
    assert why_refused(here, opened()) is None


def test_a_run_of_a_version_that_was_signed_anew(here: Installation) -> None:
    say(here, ev.ProgrammeSigned(programme=GAS.model_copy(update={"version": 2})))
    assert why_refused(here, opened()) == ("version: Odour gas now stands at version 2; use that")


def test_a_signed_version_stays_as_it_was_signed(here: Installation) -> None:
    assert GAS.clearance is not None
    laxer = GAS.clearance.model_copy(update={"limit_ppm": Decimal(50)})
    changed = ev.ProgrammeSigned(programme=GAS.model_copy(update={"clearance": laxer}))
    assert "sign the change as a new version" in (why_refused(here, changed) or "")
    assert why_refused(here, ev.ProgrammeSigned(programme=GAS)) is None
    assert hand_of_limit(here) == GAS.clearance.limit_ppm


def hand_of_limit(here: Installation) -> object:
    say(here, opened())
    programme = hand_of(here).programme
    assert programme is not None
    assert programme.clearance is not None
    return programme.clearance.limit_ppm


def test_a_chamber_holds_one_run_at_a_time(here: Installation) -> None:
    open_run(here, VASE)
    assert why_refused(here, opened("run-2")) == (
        "station: Box chamber still holds run run-1; unload it first"
    )
    assert why_refused(here, opened("run-3", station="spare")) is None


def test_two_planned_runs_cannot_both_begin_in_one_chamber(here: Installation) -> None:
    say(here, opened("run-1"), opened("run-2", programme="air"))
    enter(here, Phase.LOADING)
    for begins in (Phase.LOADING, Phase.ABORTED):
        assert why_refused(here, phase(here, begins, "run-2")) == (
            "phase: the chamber still holds run run-1; unload it first"
        )


def test_an_open_run_is_not_opened_again_with_another_programme(here: Installation) -> None:
    reach(here, Phase.AIRING)
    assert why_refused(here, opened(programme="air")) == (
        "run: run-1 is open already; give another run another id"
    )
    assert hand_of(here).clearance.state is State.NOT_CLEARED


# --- a run's sheet ------------------------------------------------------------------------------


def added(tag: str = BOWL) -> ev.RunItemAdded:
    return ev.RunItemAdded(run="run-1", tag=tag)


def removed(tag: str = VASE) -> ev.RunItemRemoved:
    return ev.RunItemRemoved(run="run-1", tag=tag, reason="still wet behind")


def test_a_piece_is_added_to_an_open_run_and_taken_off_again(here: Installation) -> None:
    bring(here, BOWL)
    allow(here, BOWL)
    open_run(here, VASE)
    say(here, added(), ev.ItemLoaded(run="run-1", tag=VASE))
    assert hand_of(here).run.tags == [VASE, BOWL]
    say(here, removed(VASE))
    run = hand_of(here).run
    assert (run.tags, run.loaded) == ([BOWL], [])
    with here.database.read() as session:
        piece = reading.item(session, reading.EVERYTHING, VASE)
        assert piece is not None
        assert (piece.run, piece.runs) == (None, [])
    stopped = why_not_loaded(here, VASE) or ""
    assert stopped.startswith("STOP: wrong piece. Piece 001 is not on this run's sheet.")


NO_RUN = "run: there is no run run-9; look at the list of runs"


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (added(VASE), f"tag: {VASE} is on the sheet of run run-1 already; scan the next"),
        (added(BOWL), f"tag: no piece carries the tag {BOWL}; scan it again"),
        (removed(BOWL), f"tag: {BOWL} is not on the sheet of run run-1; scan another"),
        (removed(VASE), "tag: it is the last piece of the run; abort the run instead"),
        (added().model_copy(update={"run": "run-9"}), NO_RUN),
        (removed().model_copy(update={"run": "run-9"}), NO_RUN),
    ],
)
def test_a_change_of_the_sheet_that_says_nothing(
    here: Installation, body: ev.RunItemAdded | ev.RunItemRemoved, words: str
) -> None:
    open_run(here, VASE)
    assert why_refused(here, body) == words


@pytest.mark.parametrize("reached", list(WAY_TO))
def test_the_sheet_changes_only_before_the_chamber_is_sealed(
    here: Installation, reached: Phase
) -> None:
    reach(here, reached)
    bring(here, BOWL)
    allow(here, BOWL)
    why_not = why_refused(here, added())
    if reached in {Phase.PLANNED, Phase.LOADING}:
        assert why_not is None
        assert why_refused(here, removed()) is None
    else:
        assert (why_not or "").startswith("run: ")
        assert hand_of(here).run.tags == [VASE]


def test_the_sheet_stays_once_agent_was_dosed(here: Installation) -> None:
    reach(here, Phase.LOADING)
    bring(here, BOWL)
    allow(here, BOWL)
    say(here, added(), dosed(here))
    assert why_refused(here, removed()) == (
        "run: agent has been dosed; keep it shut, and take the piece out at unloading"
    )


# --- the facility described anew ----------------------------------------------------------------


def described(**changes: object) -> ev.FacilityDescribed:
    """The facility with other figures for the box chamber, or without it."""
    stations = tuple(
        one.model_copy(update=changes) if one.id == "box" else one
        for one in FACILITY.stations
        if changes or one.id != "box"
    )
    return ev.FacilityDescribed(facility=FACILITY.model_copy(update={"stations": stations}))


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"zones": ("low",)}, "zones"),
        ({"zones": ("low", "high", "duct")}, "zones"),
        ({"inside_mm": (900, 1000, 1000)}, "inside_mm"),
        ({"air_changes_per_h": 99.0}, "air_changes_per_h"),
    ],
)
def test_a_chamber_in_use_is_measured_by_what_it_was_begun_with(
    here: Installation, changes: dict[str, object], field: str
) -> None:
    say(here, opened())
    assert why_refused(here, described(**changes)) is None
    assert why_refused(here, ev.FacilityDescribed(facility=FACILITY)) is None
    enter(here, Phase.LOADING)
    assert (why_refused(here, described(**changes)) or "").startswith(f"stations.box.{field}: ")
    assert why_refused(here, described(label="Box, painted")) is None


def test_a_chamber_in_use_is_not_left_out(here: Installation, clock: Clock) -> None:
    reach(here, Phase.AIRING)
    gone = described()
    assert why_refused(here, gone) == (
        "stations: Box chamber is needed by run run-1 and can't be taken out; "
        "abort or unload the run first"
    )
    digest = air_and_measure(here, clock)
    say(here, ev.ChamberOpened(run="run-1", readings=digest, at=here.now()))
    enter(here, Phase.CLEARED, Phase.UNLOADED)
    assert why_refused(here, gone) is None


# --- phases -------------------------------------------------------------------------------------


@pytest.mark.parametrize("saw", list(Phase))
def test_a_phase_is_entered_only_from_the_one_its_writer_saw(
    here: Installation, saw: Phase
) -> None:
    reach(here, Phase.HOLDING)
    why_not = why_refused(here, phase(here, Phase.AIRING).model_copy(update={"after": saw}))
    if saw is Phase.HOLDING:
        assert why_not is None
    else:
        assert why_not == (
            f"phase: the run has moved on from “{saw.label}” to “Holding”; look at it again"
        )


def test_the_table_of_phases_is_the_one_written_down_here() -> None:
    after_opening = {(Phase.AIRING, Phase.CLEARED)}
    found = {(before, after) for before, nexts in NEXT_PHASES.items() for after in nexts}
    assert found - after_opening == {
        (before, after) for before, nexts in LEGAL.items() for after in nexts
    }


@pytest.mark.parametrize("before", list(WAY_TO))
def test_every_other_phase_is_refused(here: Installation, before: Phase) -> None:
    reach(here, before)
    for after in set(Phase) - LEGAL[before]:
        assert (why_refused(here, phase(here, after)) or "").startswith("phase: ")
        assert hand_of(here).run.phase is before


@pytest.mark.parametrize(
    ("before", "after"), [(before, after) for before in WAY_TO for after in sorted(LEGAL[before])]
)
def test_every_phase_that_may_follow(here: Installation, before: Phase, after: Phase) -> None:
    reach(here, before)
    if before is Phase.LOADING:
        say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    enter(here, after)
    assert hand_of(here).run.phase is after


def test_a_phase_of_no_run(here: Installation) -> None:
    assert why_refused(here, phase(here, Phase.LOADING)) == (
        "run: there is no run run-1; look at the list of runs"
    )


def test_a_chamber_is_sealed_with_all_that_is_on_its_sheet(here: Installation) -> None:
    bring(here, BOWL)
    allow(here, BOWL)
    open_run(here, VASE, BOWL)
    say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    assert "1 of the run's pieces are not loaded" in (
        why_refused(here, phase(here, Phase.SEALED)) or ""
    )


def test_a_dosed_chamber_does_not_go_back_to_loading(here: Installation) -> None:
    reach(here, Phase.SEALED)
    say(here, dosed(here))
    assert "keep the chamber shut" in (why_refused(here, phase(here, Phase.LOADING)) or "")


def test_an_aborted_run_is_aired_and_cleared_like_any_other(
    here: Installation, clock: Clock
) -> None:
    reach(here, Phase.DOSING)
    say(here, dosed(here))
    enter(here, Phase.ABORTED)
    for shortcut in (Phase.CLEARED, Phase.UNLOADED, Phase.LOADING):
        assert why_refused(here, phase(here, shortcut)) is not None
    assert "“Aborted”" in (why_not_opened(here) or "")
    clock.forward(minutes=5)
    enter(here, Phase.AIRING)
    assert "NOT CLEARED" in (why_not_opened(here) or "")
    digest = air_and_measure(here, clock)
    assert why_not_opened(here, digest) is None
    enter(here, Phase.CLEARED, Phase.UNLOADED)


# --- opening ------------------------------------------------------------------------------------


def test_a_gas_run_opens_when_it_is_cleared_and_not_before(
    here: Installation, clock: Clock
) -> None:
    reach(here, Phase.AIRING)
    assert "no ozone reading" in (why_not_opened(here) or "")
    assert why_refused(here, phase(here, Phase.CLEARED)) == (
        "phase: the chamber has not been opened under clearance; clear and open it first"
    )
    digest = air_and_measure(here, clock)
    assert hand_of(here).clearance.state is State.CLEARED
    assert why_not_opened(here, digest) is None
    run = hand_of(here).run
    assert (run.opened_at, run.opened_on) == (here.now(), digest)
    enter(here, Phase.CLEARED, Phase.UNLOADED)
    assert why_refused(here, opened("run-2")) is None


def test_the_run_record_keeps_everything_that_was_said(here: Installation, clock: Clock) -> None:
    reach(here, Phase.DOSING)
    say(here, dosed(here))
    clock.forward(minutes=5)
    enter(here, Phase.HOLDING, Phase.AIRING)
    digest = air_and_measure(here, clock)
    say(here, ev.ChamberOpened(run="run-1", readings=digest, at=here.now()))
    enter(here, Phase.CLEARED, Phase.UNLOADED)
    with here.database.read() as session:
        run = reading.run(session, "run-1")
        assert run is not None
        assert [change.phase for change in run.phases] == [
            Phase.LOADING,
            Phase.SEALED,
            Phase.DOSING,
            Phase.HOLDING,
            Phase.AIRING,
            Phase.CLEARED,
            Phase.UNLOADED,
        ]
        assert (run.loaded, len(run.doses), len(run.holds)) == ([VASE], 1, 1)
        assert (len(run.gas), len(run.oxygen)) == (2 * len(ZONES), 2 * len(ZONES))
        assert {one.signer for one in run.signatures} == {LEAD, FUMIGATOR}
        piece = reading.item(session, reading.EVERYTHING, VASE)
        assert piece is not None
        assert piece.runs == ["run-1"]


@pytest.mark.parametrize(
    ("value", "oxygen", "words"),
    [
        ("0.101", "20.9", "0.101 ppm ozone, but the limit is at most 0.1 ppm"),
        ("0.02", "19.4", "oxygen 19.4 %, outside 19.5 to 23.5 %"),
    ],
)
def test_one_last_reading_beyond_a_limit_keeps_it_shut(
    here: Installation, clock: Clock, value: str, oxygen: str, words: str
) -> None:
    reach(here, Phase.AIRING)
    air_and_measure(here, clock)
    clock.forward(minutes=1)
    read_all(here, value, oxygen)
    assert words in (why_not_opened(here, sign_both(here)) or "")


def test_both_passes_after_the_hold_must_be_within_the_limit(
    here: Installation, clock: Clock
) -> None:
    reach(here, Phase.AIRING)
    start = clock.forward(minutes=1)
    for value in ("0.101", "0.02"):
        clock.forward(hours=2)
        read_all(here, value)
    say(here, ev.HoldClosed(run="run-1", starts_at=start, ends_at=here.now()))
    assert "0.101 ppm ozone" in (why_not_opened(here, sign_both(here)) or "")


def test_a_hold_cut_short_is_no_closed_hold(here: Installation, clock: Clock) -> None:
    reach(here, Phase.AIRING)
    start = clock.forward(minutes=1)
    say(
        here,
        ev.HoldClosed(run="run-1", starts_at=start, ends_at=start + timedelta(minutes=119)),
    )
    for _ in range(2):
        clock.forward(hours=2)
        read_all(here)
    assert "no closed hold of 2 h" in (why_not_opened(here, sign_both(here)) or "")


def test_what_was_signed_is_what_is_opened_on(here: Installation, clock: Clock) -> None:
    reach(here, Phase.AIRING)
    signed = air_and_measure(here, clock)
    assert why_not_opened(here, "0" * 64) == (
        "NOT CLEARED: the readings have changed since they were signed"
    )
    clock.forward(minutes=1)
    read_all(here, "0.03")
    assert "must sign these very readings" in (why_not_opened(here, signed) or "")


def test_a_reading_that_is_no_higher_leaves_what_was_signed_standing(
    here: Installation, clock: Clock
) -> None:
    reach(here, Phase.AIRING)
    signed = air_and_measure(here, clock)
    clock.forward(minutes=1)
    read_all(here)
    assert why_not_opened(here, signed) is None


def test_readings_grow_stale_at_the_door(here: Installation, clock: Clock) -> None:
    reach(here, Phase.AIRING)
    digest = air_and_measure(here, clock)
    clock.forward(minutes=15)
    assert "old; it counts for less than 15 min" in (why_not_opened(here, digest) or "")


def test_a_dose_in_the_same_message_as_the_opening_keeps_it_shut(
    here: Installation, clock: Clock
) -> None:
    reach(here, Phase.AIRING)
    digest = air_and_measure(here, clock)
    clock.forward(minutes=1)
    writer = Writer("console", Role.FUMIGATOR)
    writer.journal.saw(10_000)
    sent = plain(
        writer.say(dosed(here)),
        writer.say(ev.ChamberOpened(run="run-1", readings=digest, at=here.now())),
    )
    first, second = here.log.append(sent).receipts
    assert first.outcome.value == "stored"
    assert (second.why or "").startswith("NOT CLEARED")
    assert hand_of(here).run.opened_at is None


def test_an_opened_chamber_is_not_dosed_again(here: Installation, clock: Clock) -> None:
    reach(here, Phase.AIRING)
    digest = air_and_measure(here, clock)
    assert why_not_opened(here, digest) is None
    assert "can only be unloaded" in (why_refused(here, phase(here, Phase.DOSING)) or "")
    say(here, dosed(here))
    assert "dosed after the opening" in (why_refused(here, phase(here, Phase.CLEARED)) or "")


def test_a_programme_without_gas_opens_without_readings(here: Installation) -> None:
    open_run(here, VASE, programme=AIR)
    say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    enter(here, Phase.SEALED, Phase.HOLDING)
    assert "NOT CLEARED" in (why_not_opened(here) or "")
    enter(here, Phase.AIRING)
    assert hand_of(here).clearance.state is State.NO_GAS
    assert why_not_opened(here) is None


def test_a_programme_without_gas_stays_shut_once_something_was_dosed(here: Installation) -> None:
    open_run(here, VASE, programme=AIR)
    say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    enter(here, Phase.SEALED, Phase.HOLDING, Phase.AIRING)
    say(here, dosed(here))
    assert "names no gas to measure" in (why_not_opened(here) or "")


def test_no_run_no_opening(here: Installation) -> None:
    assert why_not_opened(here) == "NOT CLEARED: there is no run run-1; do not open"


def test_a_check_that_fails_is_a_no(
    here: Installation, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    reach(here, Phase.AIRING)
    digest = air_and_measure(here, clock)

    def broken(*_: object) -> None:
        raise RuntimeError

    monkeypatch.setattr(guards, "in_hand", broken)
    assert why_not_opened(here, digest) == "NOT CLEARED: the check itself failed; do not open"


def test_a_licence_that_ran_out_keeps_it_shut(here: Installation, clock: Clock) -> None:
    reach(here, Phase.AIRING)
    digest = air_and_measure(here, clock)
    person = FACILITY.licensed[0].model_copy(
        update={"expires": clock.at.date() - timedelta(days=1)}
    )
    say(here, ev.FacilityDescribed(facility=FACILITY.model_copy(update={"licensed": (person,)})))
    assert "a licence in force" in (why_not_opened(here, digest) or "")


# --- facts --------------------------------------------------------------------------------------


def test_facts_are_recorded_whatever_the_phase(here: Installation) -> None:
    say(here, opened())
    facts = (
        gas_read(here, "low", "40"),
        gas_read(here, "a zone that is not there", "-1"),
        ev.OxygenRead(run="run-1", zone="low", percent="3", taken_at=here.now()),
        ev.ClimateRead(
            run="run-1", zone="low", temperature_c="80", rh_percent="2", taken_at=here.now()
        ),
        dosed(here),
        dosed(here, "a-run-nobody-opened"),
        ev.HoldClosed(run="run-1", starts_at=here.now(), ends_at=here.now()),
        ev.ClearanceSigned(run="run-1", signer="x", licence_no=LICENCE, readings="0" * 64),
    )
    assert [why_refused(here, fact) for fact in facts] == [None] * len(facts)
    with here.database.read() as session:
        assert len(reading.tree_rows(session, LOSS)) > len(facts)


# --- set-up and programmes ----------------------------------------------------------------------


def test_a_description_made_from_another_than_the_one_on_file_is_refused(
    here: Installation,
) -> None:
    say(here, opened())
    mine = FACILITY.model_copy(update={"label": "Mine"})
    saved = ev.FacilityDescribed(facility=mine, after=FACILITY.digest)
    assert why_refused(here, saved) is None
    again = ev.FacilityDescribed(facility=FACILITY, after=FACILITY.digest)
    assert "somebody else has changed it" in (why_refused(here, again) or "")
    assert why_refused(here, again.model_copy(update={"after": mine.digest})) is None


def test_a_station_that_holds_pieces_is_not_taken_out(here: Installation) -> None:
    say(here, opened())
    rest = tuple(one for one in FACILITY.stations if one.id != "bench")
    gone = ev.FacilityDescribed(facility=FACILITY.model_copy(update={"stations": rest}))
    assert "move them first" in (why_refused(here, gone) or "")


def signed(**changes: object) -> ev.ProgrammeSigned:
    """The gas programme as another one, with ``changes``."""
    return ev.ProgrammeSigned(programme=GAS.model_copy(update={"id": "other", **changes}))


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"targets": (Target.INSECTS,)}, "targets"),
        ({"licence_no": "LIC-9"}, "licence_no"),
        ({"signed_by": "Somebody Else"}, "signed_by"),
        ({"jurisdiction": "Elsewhere"}, "jurisdiction"),
        ({"expires": date(2020, 1, 1)}, "expires"),
    ],
)
def test_what_cannot_be_signed_is_refused_by_its_field(
    here: Installation, changes: dict[str, object], field: str
) -> None:
    assert why_refused(here, signed()) is None
    assert (why_refused(here, signed(version=2, **changes)) or "").startswith(f"{field}: ")


def test_gas_is_not_dosed_once_the_programme_or_its_licence_has_run_out(
    here: Installation, clock: Clock
) -> None:
    reach(here, Phase.SEALED)
    person = FACILITY.licensed[0]
    lapsed = person.model_copy(update={"expires": clock.at.date() - timedelta(days=1)})
    say(here, ev.FacilityDescribed(facility=FACILITY.model_copy(update={"licensed": (lapsed,)})))
    dosing = ev.PhaseEntered(run="run-1", phase=Phase.DOSING, at=here.now())
    assert f"licence {LICENCE} expired" in (why_refused(here, dosing) or "")
    say(here, ev.FacilityDescribed(facility=FACILITY))
    clock.at = clock.at.replace(year=2032)
    assert "expired on 2031-12-31" in (why_refused(here, dosing) or "")
