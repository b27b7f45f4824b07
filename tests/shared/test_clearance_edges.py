"""The interlock at its edges: the moment a condition turns, and the words it gives for it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from hashlib import sha256

import pytest

from shared.clearance import Clearance, State, clearance, highest_ppm
from shared.events import Mass
from shared.programmes import Programme
from shared.records import Dose, Hold, Instrument, PhaseChange, Run
from shared.vocabulary import Phase
from tests.shared.test_clearance import (
    NOW,
    ZONES,
    airing_run,
    gas,
    judge,
    oxygen,
    programme,
    setting,
    sign,
    signed_run,
)

SECOND = timedelta(seconds=1)
MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)
CLEARED, NOT_CLEARED = State.CLEARED, State.NOT_CLEARED
TWO_PEOPLE = "two different people must sign these very readings"
LICENSED = "one of the two must be the licensed fumigator, with a licence in force"


def with_rule(**changes: object) -> Programme:
    """The invented programme with some of its signer's conditions changed."""
    rule = programme().clearance
    assert rule is not None
    return programme().model_copy(update={"clearance": rule.model_copy(update=changes)})


def meter(**changes: object) -> dict[str, Instrument]:
    """The usual instrument, changed."""
    return {"meter-1": setting().instruments["meter-1"].model_copy(update=changes)}


def signed(run: Run) -> Run:
    sign(run)
    return run


# --- the words a person at the door reads ----------------------------------------------------


def over_the_limit(run: Run) -> None:
    run.gas[-1] = gas("high", 2, "0.110")


def no_gas_in_one_zone(run: Run) -> None:
    run.gas = [one for one in run.gas if one.zone != "high"]


def gas_measured_before_the_airing_only(run: Run) -> None:
    run.gas = [one for one in run.gas if one.zone != "high"] + [gas("high", 11 * 60)]


def oxygen_measured_before_the_last_dose(run: Run) -> None:
    run.doses.append(Dose(mass=Mass(value="1", unit="g"), at=NOW - 6 * HOUR))
    run.oxygen[1] = oxygen("high", ago_min=6 * 60 + 1)


def stale_gas(run: Run) -> None:
    run.gas = [one for one in run.gas if one.taken_at < NOW - HOUR / 2 or one.zone == "low"]


def stale_oxygen(run: Run) -> None:
    run.oxygen[1] = oxygen("high", ago_min=15.5)


def future_gas(run: Run) -> None:
    run.gas[-1] = gas("high", -3)


def future_oxygen(run: Run) -> None:
    run.oxygen[1] = oxygen("high", ago_min=-3)


def little_oxygen(run: Run) -> None:
    run.oxygen[1] = oxygen("high", "19.4")


def unreadable_oxygen(run: Run) -> None:
    run.oxygen[1] = oxygen("high", "normal")


def no_hold(run: Run) -> None:
    run.holds.clear()


def passes_close_together(run: Run) -> None:
    run.gas = [one for one in run.gas if one.zone == "low"] + [gas("high", 61), gas("high", 2)]


def unreadable_unit(run: Run) -> None:
    run.gas[-1] = gas("high", 2, unit="g/m3")


def instrument_of_another_gas(run: Run) -> None:
    run.gas[-1] = gas("high", 2, instrument="meter-9")


TWO_PASSES = "needs two passes at least 1 h apart after the closed hold"


@pytest.mark.parametrize(
    ("spoil", "reasons"),
    [
        (
            over_the_limit,
            ["zone high: 0.11 ppm ozone, but the limit is at most 0.1 ppm (29 CFR 1910.1000 Z-1)"],
        ),
        (
            no_gas_in_one_zone,
            ["zone high: no ozone reading since airing began and the last dose"],
        ),
        (
            gas_measured_before_the_airing_only,
            ["zone high: no ozone reading since airing began and the last dose"],
        ),
        (
            oxygen_measured_before_the_last_dose,
            ["zone high: no oxygen reading since airing began and the last dose"],
        ),
        (
            stale_gas,
            ["zone high: the ozone reading is 1 h old; it counts for less than 15 min"],
        ),
        (
            stale_oxygen,
            ["zone high: the oxygen reading is 15 min old; it counts for less than 15 min"],
        ),
        (
            future_gas,
            [
                "zone high: the ozone reading is dated in the future; "
                "check the clock it was taken by",
            ],
        ),
        (
            future_oxygen,
            [
                "zone high: the oxygen reading is dated in the future; "
                "check the clock it was taken by",
            ],
        ),
        (
            little_oxygen,
            ["zone high: oxygen 19.4 %, outside 19.5 to 23.5 % (29 CFR 1910.146(b))"],
        ),
        (
            unreadable_oxygen,
            ["zone high: oxygen normal %, outside 19.5 to 23.5 % (29 CFR 1910.146(b))"],
        ),
        (
            no_hold,
            [
                "no closed hold of 2 h since airing began and the last dose",
                f"zone low: {TWO_PASSES}",
                f"zone high: {TWO_PASSES}",
            ],
        ),
        (passes_close_together, [f"zone high: {TWO_PASSES}"]),
        (
            unreadable_unit,
            [
                "zone high: “0.04 g/m3” cannot be read as ppm; measure in ppm, "
                "or in mg/m3 with the temperature and pressure at the sensor",
            ],
        ),
        (
            instrument_of_another_gas,
            ["zone high: instrument meter-9 is not registered for ozone"],
        ),
    ],
    ids=lambda case: case.__name__ if callable(case) else "",
)
def test_each_unmet_condition_is_named_with_its_zone_its_bound_and_the_mend(
    spoil: Callable[[Run], None], reasons: list[str]
) -> None:
    run = airing_run()
    spoil(run)
    unsigned = [TWO_PEOPLE, LICENSED]
    if judge(run).readings is not None:
        sign(run)
        unsigned = []
    assert judge(run).reasons == (*reasons, *unsigned)


@pytest.mark.parametrize(
    ("instrument", "reason"),
    [
        ({"calibrated_until": NOW}, "is out of calibration"),
        ({"detection_limit_ppm": "0.2"}, "cannot see 0.1 ppm"),
        ({"detection_limit_ppm": ""}, "cannot see 0.1 ppm"),
        ({"gas": "chlorine_dioxide"}, "is not registered for ozone"),
    ],
)
def test_an_instrument_that_cannot_vouch_for_a_low_reading_is_named_for_each_zone(
    instrument: dict[str, object], reason: str
) -> None:
    found = judge(signed_run(), instruments=meter(**instrument))
    assert found.state is NOT_CLEARED
    assert set(found.reasons) == {f"zone {zone}: instrument meter-1 {reason}" for zone in ZONES}


def test_who_has_to_sign_is_said() -> None:
    run = signed_run()
    run.signatures.reverse()
    fumigator = run.signatures.pop()
    assert judge(run).reasons == (TWO_PEOPLE, LICENSED)
    run.signatures[:] = [fumigator]
    assert judge(run).reasons == (TWO_PEOPLE,)
    assert judge(signed_run(), licences={}).reasons == (LICENSED,)


def test_what_keeps_a_run_from_being_judged_at_all_is_said() -> None:
    assert clearance(signed_run(), None, setting()).reasons == (
        "the programme of this run is not on file",
    )
    dosing = signed_run()
    dosing.phases.append(PhaseChange(phase=Phase.DOSING, at=NOW, actor="lead"))
    assert judge(dosing).reasons == (
        f"the run is in phase “{Phase.DOSING.label}”, not “{Phase.AIRING.label}”",
    )
    assert judge(signed_run(), gas=None).reasons == ("the limits table has no entry for ozone",)
    assert judge(signed_run(), zones=()).reasons == (
        "the chamber has no zones on file, so nothing can be measured",
        TWO_PEOPLE,
        LICENSED,
    )


def test_a_run_without_gas_that_was_dosed_says_what_is_wrong_and_otherwise_nothing() -> None:
    no_gas = programme().model_copy(update={"clearance": None})
    run = airing_run()
    assert clearance(run, no_gas, setting()).reasons == (
        "agent was dosed, but the programme names no gas to measure",
    )
    run.doses.clear()
    assert clearance(run, no_gas, setting()) == Clearance(State.NO_GAS, ())


@pytest.mark.parametrize(
    ("compare", "wording"), [("at_most", "at most 0.1 ppm"), ("below", "below 0.1 ppm")]
)
def test_the_limit_is_quoted_in_the_label_s_own_wording(compare: str, wording: str) -> None:
    run = airing_run()
    over_the_limit(run)
    (reason,) = clearance(signed(run), programme(compare), setting()).reasons
    assert reason == (
        f"zone high: 0.11 ppm ozone, but the limit is {wording} (29 CFR 1910.1000 Z-1)"
    )


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (1, "1 s"),
        (119, "119 s"),
        (120, "2 min"),
        (179, "2 min"),
        (3599, "59 min"),
        (3600, "1 h"),
        (5400, "90 min"),
        (7200, "2 h"),
        (86_400, "24 h"),
    ],
)
def test_lengths_of_time_are_said_in_the_largest_unit_that_does_not_overstate_them(
    seconds: int, words: str
) -> None:
    run = airing_run()
    no_hold(run)
    found = clearance(signed(run), with_rule(closed_hold_s=seconds), setting())
    assert found.reasons[0] == (f"no closed hold of {words} since airing began and the last dose")


# --- the moment a condition turns ------------------------------------------------------------


@pytest.mark.parametrize(("late", "state"), [(SECOND, CLEARED), (timedelta(0), NOT_CLEARED)])
@pytest.mark.parametrize("mark", ["airing", "dose"])
def test_a_reading_counts_only_after_the_airing_began_and_the_last_dose_went_in(
    mark: str, late: timedelta, state: State
) -> None:
    run = airing_run()
    moment = run.oxygen[0].taken_at - late
    if mark == "airing":
        run.phases[-1] = run.phases[-1].model_copy(update={"at": moment})
    else:
        run.doses.append(Dose(mass=Mass(value="1", unit="g"), at=moment))
    # A signer who asks for hardly any wait leaves only this rule to judge by.
    run.gas = [gas(zone, ago) for zone in ZONES for ago in (2, 1)]
    run.holds = [Hold(starts_at=moment, ends_at=moment)]
    at_once = with_rule(closed_hold_s=0, passes_apart_s=60)
    looked_at = clearance(run, at_once, setting()).readings
    assert (looked_at is not None) == (state is CLEARED)
    if looked_at is not None:
        sign(run)
    assert clearance(run, at_once, setting()).state is state


@pytest.mark.parametrize(
    ("starts_at", "length", "state"),
    [
        (NOW - 5 * HOUR, 2 * HOUR, CLEARED),
        (NOW - 5 * HOUR, 2 * HOUR - SECOND, NOT_CLEARED),
        (NOW - 10 * HOUR, 2 * HOUR, CLEARED),
        (NOW - 10 * HOUR - SECOND, 2 * HOUR, NOT_CLEARED),
    ],
)
def test_a_closed_hold_has_its_full_length_and_lies_within_the_airing(
    starts_at: datetime, length: timedelta, state: State
) -> None:
    run = signed_run()
    run.holds = [Hold(starts_at=starts_at, ends_at=starts_at + length)]
    assert judge(run).state is state


@pytest.mark.parametrize(
    ("hold_ends_ago", "state"),
    [
        (2 * HOUR, CLEARED),  # the first pass falls on the very end of the hold
        (2 * HOUR - SECOND, NOT_CLEARED),
    ],
)
def test_a_pass_counts_from_the_moment_the_hold_is_complete(
    hold_ends_ago: timedelta, state: State
) -> None:
    run = airing_run()
    run.gas = [gas(zone, ago) for zone in ZONES for ago in (120, 2)]
    ends_at = NOW - hold_ends_ago
    run.holds = [Hold(starts_at=ends_at - 2 * HOUR, ends_at=ends_at)]
    # Passes two hours apart are asked for, so that only the first one can have made the pair.
    two_hours = with_rule(passes_apart_s=118 * 60)
    assert clearance(signed(run), two_hours, setting()).state is state


def test_a_reading_inside_the_hold_is_not_yet_a_pass() -> None:
    run = airing_run()
    run.gas = [gas(zone, ago) for zone in ZONES for ago in (4 * 60, 2)]
    assert judge(signed(run)).reasons == tuple(f"zone {zone}: {TWO_PASSES}" for zone in ZONES)


@pytest.mark.parametrize(("ahead", "complete"), [(timedelta(0), True), (SECOND, False)])
def test_a_hold_counts_when_its_time_has_passed_and_not_when_it_is_only_planned(
    ahead: timedelta, complete: bool
) -> None:
    run = airing_run()
    starts_at = NOW - 2 * HOUR + ahead
    run.holds = [Hold(starts_at=starts_at, ends_at=starts_at + 3 * HOUR)]
    missing = "no closed hold of 2 h since airing began and the last dose"
    assert (missing not in judge(run).reasons) is complete


@pytest.mark.parametrize(("apart_min", "state"), [(60, CLEARED), (59, NOT_CLEARED)])
def test_the_two_passes_are_far_enough_apart_at_exactly_the_time_asked_for(
    apart_min: int, state: State
) -> None:
    run = airing_run()
    run.gas = [gas(zone, ago) for zone in ZONES for ago in (2 + apart_min, 2)]
    assert judge(signed(run)).state is state


def test_before_the_hold_only_the_newest_reading_is_held_against_the_limit() -> None:
    falling = airing_run()
    no_hold(falling)
    falling.gas[3] = gas("high", 120, "0.5")
    falling.gas[4] = gas("high", 60, "0.3")
    assert not any("limit" in reason for reason in judge(falling).reasons)
    single = airing_run()
    no_hold(single)
    single.gas = [gas("low", 2), gas("high", 2, "0.3")]
    assert any("0.3 ppm ozone, but the limit" in reason for reason in judge(single).reasons)


@pytest.mark.parametrize(
    ("percent", "state"),
    [
        ("19.5", CLEARED),
        ("19.49", NOT_CLEARED),
        ("23.5", CLEARED),
        ("23.51", NOT_CLEARED),
    ],
)
def test_oxygen_from_19_5_to_23_5_percent_both_ends_included(percent: str, state: State) -> None:
    # 29 CFR 1910.146(b): a hazardous atmosphere is below 19.5 or above 23.5 %.
    run = airing_run()
    run.oxygen[1] = oxygen("high", percent)
    assert judge(signed(run)).state is state


@pytest.mark.parametrize(
    ("ahead", "state"), [(2 * MINUTE, CLEARED), (2 * MINUTE + SECOND, NOT_CLEARED)]
)
def test_a_clock_may_run_two_minutes_ahead_of_the_service_and_no_more(
    ahead: timedelta, state: State
) -> None:
    newest = NOW - 2 * MINUTE
    assert judge(signed_run(), now=newest - ahead).state is state
    # Received before it says it was taken: the meter's clock is ahead, whatever the time is now.
    run = airing_run()
    run.gas[-1] = gas("high", 2, received_at=newest - ahead)
    assert judge(signed(run)).state is state


@pytest.mark.parametrize(
    ("expires", "state"),
    [(NOW.date(), CLEARED), (NOW.date() - timedelta(days=1), NOT_CLEARED)],
)
def test_a_licence_is_in_force_through_the_day_it_expires(expires: date, state: State) -> None:
    assert judge(signed_run(), licences={"INV-1": expires}).state is state


def test_an_instrument_that_can_just_see_the_limit_will_do() -> None:
    assert judge(signed_run(), instruments=meter(detection_limit_ppm="0.1")).state is CLEARED


def test_calibration_has_to_cover_the_reading_as_well_as_the_opening() -> None:
    # The newest reading is two minutes old: judged a minute before it, by a clock that lags.
    lagging = replace(setting(), now=NOW - 3 * MINUTE)
    expired = replace(lagging, instruments=meter(calibrated_until=NOW - 2 * MINUTE))
    assert clearance(signed_run(), programme(), lagging).state is CLEARED
    assert clearance(signed_run(), programme(), expired).state is NOT_CLEARED


# --- what a reading can mean -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "unit", "ppm"),
    [
        ("0", "ppm", "0"),
        ("0.04", "ppm", "0.04"),
        ("<LOD", "ppm", "0.01"),
        # Ozone, 47.998 g/mol, at 20 °C and 101 325 Pa: 24.0553 L/mol, so 1 mg/m3 is 0.501173 ppm.
        ("0.19", "mg/m3", "0.0953"),  # 0.095223
        ("0.1995", "mg/m3", "0.1000"),  # 0.099984
        ("0.1996", "mg/m3", "0.1001"),  # 0.100034
        ("0", "mg/m3", "0.0000"),
        ("-0.01", "ppm", None),
        ("0.04", "ppb", None),
    ],
)
def test_the_most_a_reading_can_mean_is_rounded_up_in_the_fourth_place(
    value: str, unit: str, ppm: str | None
) -> None:
    found = highest_ppm(gas("low", 2, value, unit=unit), meter()["meter-1"], 47.998)
    assert found == (None if ppm is None else Decimal(ppm))


def test_a_mass_concentration_a_hair_over_the_limit_is_not_rounded_down_to_it() -> None:
    run = airing_run()
    run.gas[-1] = gas("high", 2, "0.1996", unit="mg/m3")
    assert judge(signed(run)).state is NOT_CLEARED


def test_a_reading_taken_in_the_frost_is_converted_at_its_own_temperature() -> None:
    # At -5 °C and 101 325 Pa a mole takes 22.0037 L: 0.2 mg/m3 is 0.2 * 22.0037 / 47.998 ppm.
    frost = gas("low", 2, "0.2", unit="mg/m3", temperature_c="-5")
    assert highest_ppm(frost, meter()["meter-1"], 47.998) == Decimal("0.0917")  # 0.091686


# --- what is signed --------------------------------------------------------------------------


def test_the_digest_to_sign_covers_the_newest_readings_as_anyone_can_write_them_out() -> None:
    # Canonical JSON (RFC 8785): keys sorted, no white space, UTF-8.
    text = (
        '{"high":{"gas":["meter.high.2","0.04","ppm"],"oxygen":["o2.high.2","20.9"]},'
        '"low":{"gas":["meter.low.2","0.04","ppm"],"oxygen":["o2.low.2","20.9"]}}'
    )
    assert judge(airing_run()).readings == sha256(text.encode()).hexdigest()
