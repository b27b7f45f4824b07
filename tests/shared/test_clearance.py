"""The interlock: one run that is cleared, and every way in which it is not."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import programmes
from shared.clearance import (
    FACTS,
    OXYGEN_HIGH,
    OXYGEN_LOW,
    Clearance,
    Setting,
    State,
    clearance,
)
from shared.events import Mass
from shared.facts import LimitKind, facts
from shared.programmes import ClearanceRule, Programme
from shared.records import (
    Dose,
    GasReading,
    Hold,
    Instrument,
    OxygenReading,
    PhaseChange,
    Run,
    Signature,
)
from shared.vocabulary import Agent, Phase, Role, Target

NOW = datetime(2031, 5, 6, 18, 0, tzinfo=UTC)
ZONES = ("low", "high")
LIMIT = Decimal("0.1")


def programme(compare: str = "at_most") -> Programme:
    return Programme.model_validate(
        {
            "id": "ozone-hard",
            "version": 1,
            "label": "Invented ozone programme",
            "family": "oxidant",
            "agent": Agent.OZONE,
            "targets": (Target.SMOKE_ODOUR,),
            "concentration_ppm": (Decimal(1), Decimal(2)),
            "dose_ppm_h": (Decimal(1), Decimal(9)),
            "temperature_c": (15, 25),
            "rh": (0.3, 0.6),
            "run_min": (60, 600),
            "clearance": ClearanceRule(
                gas="ozone", limit_ppm=LIMIT, compare=compare, cited_from="29 CFR 1910.1000 Z-1"
            ),
            "signed_by": "Invented Person",
            "licence_no": "INV-1",
            "jurisdiction": "Invented",
            "expires": date(2032, 1, 1),
        }
    )


def gas(zone: str, ago_min: float, value: str = "0.04", **changes: object) -> GasReading:
    at = NOW - timedelta(minutes=ago_min)
    fields: dict[str, object] = {
        "reading": f"{zone}-{ago_min}",
        "event": f"meter.{zone}.{ago_min}",
        "zone": zone,
        "instrument": "meter-1",
        "value": value,
        "unit": "ppm",
        "temperature_c": "20",
        "pressure_pa": "101325",
        "taken_at": at,
        "received_at": at,
    }
    return GasReading.model_validate(fields | changes)


def oxygen(zone: str, percent: str = "20.9", ago_min: float = 2) -> OxygenReading:
    at = NOW - timedelta(minutes=ago_min)
    return OxygenReading(
        event=f"o2.{zone}.{ago_min}", zone=zone, percent=percent, taken_at=at, received_at=at
    )


def airing_run() -> Run:
    """A run whose measurements are good; nobody has signed yet."""
    hours = timedelta(hours=1)
    return Run(
        run="run-1",
        station="chamber-a",
        programme="ozone-hard",
        tags=["T"],
        phases=[
            PhaseChange(phase=Phase.LOADING, at=NOW - 20 * hours, actor="lead"),
            PhaseChange(phase=Phase.DOSING, at=NOW - 15 * hours, actor="lead"),
            PhaseChange(phase=Phase.AIRING, at=NOW - 10 * hours, actor="lead"),
        ],
        doses=[Dose(mass=Mass(value="3", unit="g"), at=NOW - 14 * hours)],
        holds=[Hold(starts_at=NOW - 5 * hours, ends_at=NOW - 2 * hours)],
        gas=[gas(zone, ago) for zone in ZONES for ago in (120, 60, 2)],
        oxygen=[oxygen(zone) for zone in ZONES],
    )


def setting(**changes: object) -> Setting:
    usual = Setting(
        zones=ZONES,
        gas="ozone",
        molar_mass_g_mol=47.998,
        instruments={
            "meter-1": Instrument(
                instrument="meter-1",
                gas="ozone",
                detection_limit_ppm="0.01",
                calibrated_until=NOW + timedelta(days=30),
            )
        },
        licences={"INV-1": date(2031, 12, 31)},
        now=NOW,
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


def sign(run: Run, *, first: str = "Ada", second: str = "Ben") -> None:
    """Two people sign what the readings are now."""
    looked_at = clearance(run, programme(), setting()).readings
    assert looked_at is not None
    for name, role, licence in ((first, Role.FUMIGATOR, "INV-1"), (second, Role.LEAD, "")):
        run.signatures.append(
            Signature(
                signer=name,
                actor=name,
                role=role,
                licence_no=licence,
                readings=looked_at,
                at="2031-05-06T18:00:00Z",
            )
        )


def signed_run() -> Run:
    run = airing_run()
    sign(run)
    return run


def judge(run: Run, **changes: object) -> Clearance:
    return clearance(run, programme(), setting(**changes))


def test_the_oxygen_range_is_the_one_the_limits_table_cites() -> None:
    # 29 CFR 1910.146(b): a facility may change the table, but never what the interlock asks.
    low = facts().limit("oxygen", LimitKind.HAZARDOUS_LOW)
    high = facts().limit("oxygen", LimitKind.HAZARDOUS_HIGH)
    assert (float(OXYGEN_LOW), float(OXYGEN_HIGH)) == (low.value, high.value)
    assert low.unit == high.unit == "% v/v"


def test_a_rule_that_says_nothing_asks_for_the_cautious_hold_and_passes() -> None:
    rule = ClearanceRule(gas="ozone", limit_ppm=LIMIT, compare="below", cited_from="the label")
    assert (rule.fresh_s, rule.closed_hold_s, rule.passes_apart_s) == (900, 7200, 3600)


def test_every_number_of_the_interlock_is_listed_with_its_source() -> None:
    listed = {fact.name: fact.value for book in (FACTS, programmes.FACTS) for fact in book}
    gates = {OXYGEN_LOW, OXYGEN_HIGH, 2, 120, 900, 7200, 3600}
    days_before_the_end_is_told_of = {30}
    assert gates | days_before_the_end_is_told_of == set(listed.values())


def test_a_run_with_every_condition_met_is_cleared() -> None:
    found = judge(signed_run())
    assert found.state is State.CLEARED, found.reasons
    assert found.signed_by == ("Ada", "Ben")
    assert found.may_open


def drop_readings(run: Run) -> None:
    run.gas.clear()


def drop_zone(run: Run) -> None:
    run.gas = [one for one in run.gas if one.zone != "high"]


def over_in_one_zone(run: Run) -> None:
    run.gas.append(gas("high", 1, "0.11"))


def unit_unknown(run: Run) -> None:
    run.gas[-1] = gas("high", 2, unit="g/m3")


def unit_missing(run: Run) -> None:
    run.gas[-1] = gas("high", 2, unit="")


def not_a_number(run: Run) -> None:
    run.gas[-1] = gas("high", 2, "NaN")


def negative(run: Run) -> None:
    run.gas[-1] = gas("high", 2, "-0.01")


def infinite(run: Run) -> None:
    run.gas[-1] = gas("high", 2, "Infinity")


def mg_over_limit(run: Run) -> None:
    run.gas[-1] = gas("high", 2, "0.3", unit="mg/m3")


def mg_without_temperature(run: Run) -> None:
    run.gas[-1] = gas("high", 2, "0.01", unit="mg/m3", temperature_c="")


def still_dosing(run: Run) -> None:
    run.phases.append(PhaseChange(phase=Phase.DOSING, at=NOW - timedelta(hours=1), actor="lead"))


def aborted(run: Run) -> None:
    run.phases.append(PhaseChange(phase=Phase.ABORTED, at=NOW - timedelta(hours=1), actor="lead"))


def top_up_after_the_readings(run: Run) -> None:
    run.doses.append(Dose(mass=Mass(value="1", unit="g"), at=NOW - timedelta(minutes=1)))


def no_hold(run: Run) -> None:
    run.holds.clear()


def short_hold(run: Run) -> None:
    run.holds = [Hold(starts_at=NOW - timedelta(hours=4), ends_at=NOW - timedelta(hours=3))]


def hold_before_airing(run: Run) -> None:
    run.holds = [Hold(starts_at=NOW - timedelta(hours=14), ends_at=NOW - timedelta(hours=11))]


def one_pass_only(run: Run) -> None:
    run.gas = [one for one in run.gas if one.taken_at > NOW - timedelta(minutes=30)]


def rebound_between_the_passes(run: Run) -> None:
    run.gas.append(gas("low", 30, "0.2"))


def no_oxygen(run: Run) -> None:
    run.oxygen.clear()


def little_oxygen(run: Run) -> None:
    run.oxygen[0] = oxygen("low", "19.4")


def much_oxygen(run: Run) -> None:
    run.oxygen[0] = oxygen("low", "23.6")


def stale_oxygen(run: Run) -> None:
    run.oxygen = [oxygen(zone, ago_min=15) for zone in ZONES]


def unknown_instrument(run: Run) -> None:
    run.gas[-1] = gas("high", 2, instrument="meter-9")


def contradicting_at_the_same_moment(run: Run) -> None:
    run.gas.append(gas("high", 2, "0.5", event="other.high.2"))


def oxygen_contradicting_at_the_same_moment(run: Run) -> None:
    other = oxygen("high", "12").model_copy(update={"event": "earlier.than.o2"})
    run.oxygen.append(other)


def little_oxygen_a_minute_earlier(run: Run) -> None:
    run.oxygen.append(oxygen("low", "12", ago_min=3))


SPOILERS: list[Callable[[Run], None]] = [
    drop_readings,
    drop_zone,
    over_in_one_zone,
    unit_unknown,
    unit_missing,
    not_a_number,
    negative,
    infinite,
    mg_over_limit,
    mg_without_temperature,
    still_dosing,
    aborted,
    top_up_after_the_readings,
    no_hold,
    short_hold,
    hold_before_airing,
    one_pass_only,
    rebound_between_the_passes,
    no_oxygen,
    little_oxygen,
    much_oxygen,
    stale_oxygen,
    unknown_instrument,
    contradicting_at_the_same_moment,
    oxygen_contradicting_at_the_same_moment,
    little_oxygen_a_minute_earlier,
]


@pytest.mark.parametrize("spoil", SPOILERS, ids=lambda spoil: spoil.__name__)
def test_anything_amiss_means_not_cleared(spoil: Callable[[Run], None]) -> None:
    run = airing_run()
    spoil(run)
    if judge(run).readings is not None:  # a zone without readings can't be signed at all
        sign(run)
    found = judge(run)
    assert found.state is State.NOT_CLEARED
    assert found.reasons
    assert not found.may_open


def test_one_reading_is_not_two_passes_however_close_the_rule_lets_them_be() -> None:
    usual = programme()
    assert usual.clearance is not None
    at_once = usual.model_copy(
        update={"clearance": usual.clearance.model_copy(update={"passes_apart_s": 0})}
    )
    run = airing_run()
    run.gas = [gas(zone, 2) for zone in ZONES]
    sign(run)
    assert clearance(run, at_once, setting()).state is State.NOT_CLEARED
    run.gas = [gas(zone, ago) for zone in ZONES for ago in (3, 2)]
    run.signatures.clear()
    sign(run)
    assert clearance(run, at_once, setting()).state is State.CLEARED


def test_oxygen_that_was_low_before_the_hold_does_not_count_against_the_run() -> None:
    run = signed_run()
    run.oxygen.insert(0, oxygen("low", "12", ago_min=400))
    assert judge(run).state is State.CLEARED


def test_readings_go_stale_at_the_stated_age_and_not_before() -> None:
    run = signed_run()
    newest = NOW - timedelta(minutes=2)
    at = newest + timedelta(seconds=900)
    assert judge(run, now=at - timedelta(seconds=1)).state is State.CLEARED
    assert judge(run, now=at).state is State.NOT_CLEARED


def test_a_reading_from_the_future_is_not_believed() -> None:
    run = signed_run()
    assert judge(run, now=NOW - timedelta(minutes=2, seconds=121)).state is State.NOT_CLEARED
    ahead = airing_run()
    ahead.gas[-1] = gas("high", 2, received_at=NOW - timedelta(minutes=10))
    sign(ahead)
    assert judge(ahead).state is State.NOT_CLEARED


@pytest.mark.parametrize(
    ("value", "compare", "state"),
    [
        ("0.1", "at_most", State.CLEARED),
        ("0.1", "below", State.NOT_CLEARED),
        ("0.0999", "below", State.CLEARED),
        ("0.1001", "at_most", State.NOT_CLEARED),
    ],
)
def test_equal_to_the_limit_follows_the_labels_own_wording(
    value: str, compare: str, state: State
) -> None:
    run = airing_run()
    run.gas[-1] = gas("high", 2, value)
    sign(run)
    assert clearance(run, programme(compare), setting()).state is state


def test_mass_concentrations_are_converted_and_rounded_up() -> None:
    run = airing_run()
    # 0.19 mg/m3 of ozone at 20 °C and 101 325 Pa is 0.0952 ppm (ideal gas).
    run.gas[-1] = gas("high", 2, "0.19", unit="mg/m3")
    sign(run)
    assert judge(run).state is State.CLEARED


def test_below_detection_counts_as_the_detection_limit() -> None:
    run = airing_run()
    run.gas[-1] = gas("high", 2, "<LOD")
    sign(run)
    assert judge(run).state is State.CLEARED
    blind = Instrument(
        instrument="meter-1",
        gas="ozone",
        detection_limit_ppm="0.2",
        calibrated_until=NOW + timedelta(days=1),
    )
    assert judge(run, instruments={"meter-1": blind}).state is State.NOT_CLEARED


def test_calibration_must_be_in_force_at_opening() -> None:
    expired = Instrument(
        instrument="meter-1",
        gas="ozone",
        detection_limit_ppm="0.01",
        calibrated_until=NOW,
    )
    assert judge(signed_run(), instruments={"meter-1": expired}).state is State.NOT_CLEARED


@pytest.mark.parametrize(("first", "second"), [("Ada", "Ada"), ("Ada", "  ada "), ("Ada", "ADA")])
def test_one_person_cannot_sign_twice(first: str, second: str) -> None:
    run = airing_run()
    sign(run, first=first, second=second)
    assert judge(run).state is State.NOT_CLEARED


def test_one_signature_is_not_enough() -> None:
    run = signed_run()
    run.signatures.pop()
    assert judge(run).state is State.NOT_CLEARED


def test_two_without_a_licence_are_not_enough() -> None:
    run = signed_run()
    assert judge(run, licences={}).state is State.NOT_CLEARED
    assert judge(run, licences={"INV-1": date(2031, 5, 5)}).state is State.NOT_CLEARED


def test_signatures_hold_for_the_readings_they_were_put_under_and_no_others() -> None:
    run = signed_run()
    run.gas.append(gas("low", 1, "0.02"))
    assert judge(run).state is State.NOT_CLEARED
    sign(run)
    assert judge(run).state is State.CLEARED


def test_a_higher_reading_that_comes_late_revokes() -> None:
    run = signed_run()
    run.gas.append(gas("low", 10, "2", received_at=NOW))
    assert judge(run).state is State.NOT_CLEARED


def test_a_chamber_without_zones_is_never_cleared() -> None:
    assert judge(signed_run(), zones=()).state is State.NOT_CLEARED


def test_a_gas_without_a_limit_entry_is_never_cleared() -> None:
    assert judge(signed_run(), gas=None).state is State.NOT_CLEARED


def test_without_its_programme_nothing_is_cleared() -> None:
    assert clearance(signed_run(), None, setting()).state is State.NOT_CLEARED


def test_a_programme_without_gas_has_nothing_to_clear_unless_something_was_dosed() -> None:
    airing = programme().model_copy(
        update={"clearance": None, "concentration_ppm": None, "dose_ppm_h": None}
    )
    run = airing_run()
    assert clearance(run, airing, setting()).state is State.NOT_CLEARED
    run.doses.clear()
    assert clearance(run, airing, setting()).state is State.NO_GAS


@given(
    st.lists(st.tuples(st.sampled_from(ZONES), st.floats(0.5, 300), st.floats(0, 3)), max_size=12)
)
def test_no_further_reading_above_the_limit_ever_leaves_a_run_cleared(
    readings: list[tuple[str, float, float]],
) -> None:
    run = airing_run()
    run.gas += [
        gas(zone, ago, f"{value:.3f}", event=f"more.{index}")
        for index, (zone, ago, value) in enumerate(readings)
    ]
    sign(run)
    found = judge(run)
    hold_over = NOW - timedelta(hours=3)
    over = [one for one in run.gas if one.taken_at >= hold_over and Decimal(one.value) > LIMIT]
    if over:
        assert found.state is State.NOT_CLEARED
