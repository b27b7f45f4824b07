"""The interlock in its main paths, its words and its numbers; every edge is in test_interlock."""

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import programmes
from shared.clearance import (
    ANYTHING,
    FACTS,
    GAS_APART,
    OXYGEN_APART,
    OXYGEN_HIGH,
    OXYGEN_LOW,
    Clearance,
    State,
    clearance,
    highest_ppm,
)
from shared.facts import LimitKind, facts
from shared.programmes import ClearanceRule
from shared.records import GasReading, Instrument
from shared.vocabulary import Phase
from tests.shared.interlock_oracle import (
    ADA,
    FAY,
    METER,
    ZONES,
    Entered,
    Held,
    Read,
    Registered,
    Story,
    acted_out,
    airing,
    at,
    cleared,
    measured,
    passing,
    programme,
    setting,
    signed,
)

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
TWO_PEOPLE = "two different people must sign these very readings"
LICENSED = "one of the two must be the licensed fumigator, with a licence in force"


def judge(story: Story, now: str | datetime = "13:32") -> Clearance:
    moment = at(now) if isinstance(now, str) else now
    return clearance(acted_out(story), programme(story.rule), setting(story, moment))


def gas(text: str, clock: str, **facts_: object) -> Read:
    return replace(Read("gas", "high", text, at(clock), at(clock)), **facts_)  # type: ignore[arg-type]


# --- the numbers --------------------------------------------------------------------------------


def test_the_oxygen_range_is_the_one_the_limits_table_cites() -> None:
    # 29 CFR 1910.146(b): a facility may change the table, but never what the interlock asks.
    low = facts().limit("oxygen", LimitKind.HAZARDOUS_LOW)
    high = facts().limit("oxygen", LimitKind.HAZARDOUS_HIGH)
    assert (float(OXYGEN_LOW), float(OXYGEN_HIGH)) == (low.value, high.value)
    assert low.unit == high.unit == "% v/v"


def test_a_rule_that_says_nothing_asks_for_the_cautious_hold_and_passes() -> None:
    rule = ClearanceRule(
        gas="ozone", limit_ppm=Decimal("0.1"), compare="below", cited_from="the label"
    )
    assert (rule.fresh_s, rule.closed_hold_s, rule.passes_apart_s) == (900, 7200, 3600)


def test_every_number_of_the_interlock_is_listed_with_its_source() -> None:
    listed = {fact.name: fact.value for book in (FACTS, programmes.FACTS) for fact in book}
    gates = {OXYGEN_LOW, OXYGEN_HIGH, OXYGEN_APART, GAS_APART, 2, 120, 900, 7200, 3600}
    days_before_the_end_is_told_of = {30}
    assert gates | days_before_the_end_is_told_of == set(listed.values())


# --- cleared, and what means that it is not -----------------------------------------------------


def test_a_run_with_every_condition_met_is_cleared() -> None:
    found = judge(cleared())
    assert (found.state, found.reasons, found.voided) == (State.CLEARED, (), ())
    assert found.signed_by == ("Ada Lead", "Fay Gas")
    assert found.seen_to == at("13:30")
    assert found.signed == (found.readings, found.readings)
    assert found.may_open


def test_unknown_means_not_cleared() -> None:
    for story in (
        signed(airing().then(Held(at("10:00"), at("12:00")))),
        signed(measured().then(gas("0.1", "13:31", meter="m9"))),
        signed(measured().then(gas("0.1", "13:31", zone="middle"))),
        signed(measured().then(gas("unknown", "13:31"))),
        replace(cleared(), zones=(*ZONES, "middle")),
    ):
        assert judge(story).state is State.NOT_CLEARED


def test_stale_means_not_cleared() -> None:
    assert judge(cleared(), "13:44:59").state is State.CLEARED
    assert judge(cleared(), "13:45").state is State.NOT_CLEARED


def test_from_the_future_means_not_cleared() -> None:
    ahead = gas("0.1", "13:35", had=at("13:31"))
    assert judge(signed(measured().then(ahead))).state is State.NOT_CLEARED
    assert judge(cleared().then(ahead)).state is State.NOT_CLEARED
    # The moment it claims comes round, and it still was not taken then.
    later = cleared().then(ahead, *passing("13:36"))
    assert judge(later, "13:37").state is State.NOT_CLEARED


def test_without_its_unit_a_reading_means_not_cleared() -> None:
    for unit in ("", "ppb", "g/m3", "PPM"):
        story = signed(measured().then(gas("0.1", "13:31", unit=unit)))
        assert judge(story).state is State.NOT_CLEARED


def test_late_by_sync_means_not_cleared() -> None:
    for text in ("2", "0.1"):
        late = gas(text, "13:10", had=at("13:31"))
        assert judge(cleared().then(late)).state is State.NOT_CLEARED
    # People who have seen that it came in late, and was no higher, may sign again.
    assert judge(signed(cleared().then(late))).state is State.CLEARED


def test_contradiction_means_not_cleared() -> None:
    other = Registered("n", METER.gas, METER.sees, METER.until)
    base = measured().then(other)
    for reads in (
        [gas("0.95", "13:30", meter="n")],
        [gas("0.41", "13:30")],
        [Read("oxygen", "high", "22", at("13:30"), at("13:31"))],
    ):
        story = signed(base.then(*reads))
        assert judge(story).state is State.NOT_CLEARED
        # What comes after does not tell who was right: only a new hold and new passes do.
        assert judge(signed(story.then(*passing("13:33"))), "13:34").state is State.NOT_CLEARED
        again = story.then(Held(at("13:34"), at("15:34")), *passing("15:35"), *passing("16:35"))
        assert judge(signed(again), "16:36").state is State.CLEARED


@pytest.mark.parametrize("count", range(len(cleared().facts) + 1))
def test_aborted_at_any_point_means_not_cleared(count: int) -> None:
    aborted = cleared().first(count).then(Entered(Phase.ABORTED, at("13:31")))
    assert judge(aborted).state is State.NOT_CLEARED
    rest = replace(aborted, facts=(*aborted.facts, *cleared().facts[count:]))
    again = rest.then(Entered(Phase.AIRING, at("13:31:30")))
    assert judge(again).state is State.NOT_CLEARED
    assert judge(signed(again)).state is State.NOT_CLEARED


@given(st.integers(1, 100_000))
def test_time_going_backwards_makes_nothing_cleared_that_is_not(back_s: int) -> None:
    back = timedelta(seconds=back_s)
    stale = at("13:45") - back
    if stale < at("13:30"):  # earlier than the service had its last reading
        assert judge(cleared(), stale).state is State.NOT_CLEARED
    over = cleared().then(gas("1.1", "13:31"))
    assert judge(over, at("13:31") - back).state is State.NOT_CLEARED
    assert judge(measured(), at("13:45") - back).state is State.NOT_CLEARED


def test_readings_that_come_in_while_the_clock_is_put_back_void_what_was_signed() -> None:
    read = gas("0.4", "13:29", had=at("13:29"))
    assert judge(cleared().then(read), "13:31").state is State.NOT_CLEARED


@given(
    st.lists(
        st.tuples(st.sampled_from(ZONES), st.integers(0, 12_000), st.decimals(0, 3, places=3)),
        max_size=12,
    )
)
def test_no_reading_above_the_limit_since_the_hold_ever_leaves_a_run_cleared(
    readings: list[tuple[str, int, Decimal]],
) -> None:
    reads = [
        Read("gas", zone, str(value), moment, moment)
        for zone, ago, value in readings
        for moment in [at("13:31") - timedelta(seconds=ago)]
    ]
    over = any(one.taken >= at("12:00") and Decimal(one.text) > 1 for one in reads)
    found = judge(signed(measured().then(*reads)))
    assert not (over and found.may_open)


# --- who signs ----------------------------------------------------------------------------------


def test_each_signs_what_each_sees_and_both_stand_while_nothing_rises() -> None:
    story = signed(measured(), FAY)
    first = judge(story)
    assert first.reasons == (TWO_PEOPLE,)
    story = story.then(*passing("13:31", "0.3"))
    second = judge(story)
    assert second.signed == first.signed
    assert second.readings not in first.signed
    found = judge(signed(story, ADA))
    assert (found.state, found.signed) == (State.CLEARED, (first.readings, second.readings))


def test_signatures_stand_for_half_an_hour_of_readings_every_ten_seconds() -> None:
    story = cleared()
    signed_then = judge(story).signed
    for step in range(1, 181):
        moment = at("13:31") + timedelta(seconds=10 * step)
        story = story.then(*passing(moment, "0.4" if step % 2 else "0.3"))
        if step % 20 == 0:
            found = judge(story, moment + timedelta(seconds=2))
            assert (found.state, found.signed) == (State.CLEARED, signed_then), found.reasons
    rising = story.then(*passing(moment + timedelta(seconds=10), "0.401"))
    found = judge(rising, moment + timedelta(seconds=12))
    assert found.state is State.NOT_CLEARED
    assert found.voided == tuple(
        f"what {name} signed does not stand any more: "
        "zone low read 0.401 ppm later, higher than what was signed"
        for name in ("Fay Gas", "Ada Lead")
    )


def test_who_has_to_sign_is_said() -> None:
    assert judge(measured()).reasons == (TWO_PEOPLE, LICENSED)
    assert judge(signed(measured(), ADA)).reasons == (TWO_PEOPLE, LICENSED)
    assert judge(signed(measured(), FAY)).reasons == (TWO_PEOPLE,)
    assert judge(signed(measured(), ADA, ("Bo", "bo", ADA[2], ""))).reasons == (LICENSED,)


# --- the words a person at the door reads -------------------------------------------------------


@pytest.mark.parametrize(
    ("story", "now", "reason"),
    [
        (
            measured().then(gas("1.10", "13:31")),
            "13:32",
            "zone high: 1.1 ppm sulfuryl_fluoride, but the limit is at most 1 ppm (invented)",
        ),
        (
            measured().then(*(x for x in passing("13:40") if x.kind == "oxygen")),
            "14:45",
            "zone low: the sulfuryl_fluoride reading is 75 min old; it counts for less than 15 min",
        ),
        (
            measured().then(*(x for x in passing("13:40") if x.kind == "gas")),
            "13:46",
            "zone low: the oxygen reading is 16 min old; it counts for less than 15 min",
        ),
        (
            measured().then(gas("0.1", "13:35", had=at("13:31"))),
            "13:32",
            "zone high: a reading is dated in the future; check the clock it was taken by",
        ),
        (
            measured().then(Read("oxygen", "high", "19.4", at("13:31"), at("13:31"))),
            "13:32",
            "zone high: oxygen 19.4 %, outside 19.5 to 23.5 % (29 CFR 1910.146(b))",
        ),
        (
            measured().then(Read("oxygen", "high", "22", at("13:31"), at("13:31"))),
            "13:32",
            "zone high: two readings of one moment contradict each other; find the wrong "
            "instrument, then hold closed again",
        ),
        (
            measured().then(gas("0.1", "13:31", meter="m9")),
            "13:32",
            "zone high: instrument m9 is not registered for sulfuryl_fluoride",
        ),
        (
            measured().then(gas("0.1", "13:31", zone="shelf")),
            "13:32",
            "zone shelf: the chamber has no such zone; check where this was read",
        ),
        (
            measured().then(replace(METER, until=at("13:00"))),
            "13:32",
            "zone low: instrument m is out of calibration",
        ),
        (
            measured().then(replace(METER, sees="1.5")),
            "13:32",
            "zone low: instrument m cannot see 1 ppm",
        ),
        (
            measured(),
            "13:29",
            "the service's clock was put back since it had the last reading; mend the clock",
        ),
        (
            replace(measured(), zones=(*ZONES, "mid")),
            "13:32",
            "zone mid: no sulfuryl_fluoride reading since airing began and the last dose",
        ),
        (
            replace(measured(), zones=()),
            "13:32",
            "the chamber has no zones on file, so nothing can be measured",
        ),
        (
            measured().then(Entered(Phase.DOSING, at("13:31"))),
            "13:32",
            f"the run is in phase “{Phase.DOSING.label}”, not “{Phase.AIRING.label}”",
        ),
        (airing().then(*passing("9:30", "7")), "9:31", "no closed hold of 2 h since airing began "
         "and the last dose"),
        (airing().then(*passing("9:30", "7")), "9:31", "zone high: 7 ppm sulfuryl_fluoride, but "
         "the limit is at most 1 ppm (invented)"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
def test_each_unmet_condition_is_named_with_its_zone_its_bound_and_the_mend(
    story: Story, now: str, reason: str
) -> None:
    assert reason in judge(story, now).reasons


@pytest.mark.parametrize(
    ("read", "why"),
    [
        (
            gas("0.1", "13:10", had=at("13:31")),
            "zone high: a reading came in 15 min or more after it was taken",
        ),
        (
            gas("0.1", "13:25", had=at("13:31")),
            "zone high: a reading came in that is older than one before it",
        ),
        (gas("0.1", "13:46"), "zone high: there was no reading for 15 min or more"),
        (gas("0.5", "13:31"), "zone high read 0.5 ppm later, higher than what was signed"),
        (
            replace(METER, until=METER.until + HOUR),
            "it was for other readings, or a dose, hold or instrument was recorded since",
        ),
    ],
)
def test_why_a_signature_does_not_stand_is_said(read: Read | Registered, why: str) -> None:
    others = [one for one in passing("13:40") if (one.kind, one.zone) != ("gas", "high")]
    silent = isinstance(read, Read) and read.taken > at("13:45")
    story = cleared().then(*(others if silent else ()), read)
    found = judge(story, "13:47" if silent else "13:32")
    said = f"what Fay Gas signed does not stand any more: {why}"
    assert found.voided == (said, said.replace("Fay Gas", "Ada Lead"))
    assert found.reasons == (TWO_PEOPLE, LICENSED)


def test_signing_before_all_was_in_order_is_said_not_to_count() -> None:
    page = airing().then(Held(at("10:00"), at("12:00")), *passing("12:40"))
    story = signed(page).then(*passing("12:54"), *passing("13:08"), *passing("13:20"))
    story = story.then(*passing("13:34"), *passing("13:40"))
    (said, _) = judge(story, "13:41").voided
    assert said == (
        "what Fay Gas signed does not stand any more: not all that is measured was in order then"
    )


def test_of_many_faults_in_a_zone_the_newest_is_told() -> None:
    many = [gas(f"1.{number}", f"12:{number}") for number in range(20, 40)]
    assert judge(measured().then(*many)).reasons == (
        "zone high: 1.39 ppm sulfuryl_fluoride, but the limit is at most 1 ppm (invented)",
    )


# --- what a reading can mean --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "unit", "celsius", "ppm"),
    [
        ("0", "ppm", "20", "0"),
        ("0.04", "ppm", "20", "0.04"),
        ("<LOD", "ppm", "20", "0.01"),
        ("<LOD", "", "20", None),
        # Ozone, 47.998 g/mol, at 20 °C and 101 325 Pa: 24.0553 L/mol, so 1 mg/m3 is 0.501173 ppm.
        ("0.19", "mg/m3", "20", "0.0953"),  # 0.095223
        ("0.1995", "mg/m3", "20", "0.1000"),  # 0.099984
        ("0.1996", "mg/m3", "20", "0.1001"),  # 0.100034
        ("0", "mg/m3", "20", "0.0000"),
        # At -5 °C a mole takes 22.0037 L: 0.2 mg/m3 is 0.2 * 22.0037 / 47.998 ppm.
        ("0.2", "mg/m3", "-5", "0.0917"),  # 0.091686
        ("-0.01", "ppm", "20", None),
        ("0.04", "ppb", "20", None),
        ("0.04", "mg/m3", "warm", None),
    ],
)
def test_the_most_a_reading_can_mean_is_rounded_up_in_the_fourth_place(
    value: str, unit: str, celsius: str, ppm: str | None
) -> None:
    reading = GasReading(
        reading="r",
        event="e",
        zone="low",
        instrument="m",
        value=value,
        unit=unit,
        temperature_c=celsius,
        pressure_pa="101325",
        taken_at=at("12:00"),
        received_at=at("12:00"),
    )
    instrument = Instrument(
        instrument="m", gas="ozone", detection_limit_ppm="0.01", calibrated_until=at("13:00")
    )
    found = highest_ppm(reading, instrument, 47.998)
    assert found == (ANYTHING if ppm is None else Decimal(ppm))
