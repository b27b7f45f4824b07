import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shared import gas
from shared.gas import (
    Chamber,
    DoseWindow,
    GasReading,
    LoadingRule,
    LoadPiece,
    NotCounted,
    Rebound,
    Uncounted,
)
from shared.quantities import OutOfRange

ANY = DoseWindow(longest_gap_h=2)
STRICT = DoseWindow(longest_gap_h=2, ppm_min=100, t_min_c=20, t_max_c=30, rh_min=0.6, rh_max=0.8)

ppm = st.floats(0, 5000)
series = st.lists(
    st.tuples(st.floats(0.1, 3), ppm, st.floats(10, 40), st.floats(0.4, 1)),
    min_size=2,
    max_size=20,
)


def readings(rows: list[tuple[float, float, float, float]]) -> list[GasReading]:
    hours = np.cumsum([row[0] for row in rows])
    return [GasReading(float(h), *row[1:]) for h, row in zip(hours, rows, strict=True)]


# --- charge ----------------------------------------------------------------------------------

charge = partial(
    gas.charge_mass_g,
    chamber_m3=20,
    solids_m3=3,
    signed_ppm=1000,
    molar_mass_g_mol=67.45,
    t_c=25,
    p_pa=101_325,
)


def test_the_charge_is_for_the_free_air_and_the_signed_concentration() -> None:
    assert charge(solids_m3=20) == 0
    assert charge(solids_m3=0) == pytest.approx(charge() * 20 / 17)
    assert charge(signed_ppm=500) == pytest.approx(charge() / 2)
    assert charge(p_pa=84_556) == pytest.approx(charge() * 84_556 / 101_325)


def test_no_concentration_is_ever_assumed() -> None:
    with pytest.raises(TypeError, match="signed_ppm"):
        gas.charge_mass_g(  # type: ignore[call-arg]
            chamber_m3=20, solids_m3=3, molar_mass_g_mol=67.45, t_c=25, p_pa=101_325
        )


# --- dose ------------------------------------------------------------------------------------


def test_rising_gas_counts_by_the_trapezoid() -> None:
    assert gas.exposure_ppm_h(0, 400, 2) == 400
    assert gas.exposure_ppm_h(300, 300, 2) == 600


@given(st.floats(1, 5000), st.floats(0.01, 50), st.floats(0.01, 48))
def test_falling_gas_counts_exactly_as_the_decay_it_follows(
    start: float, half_loss: float, hours: float
) -> None:
    end = gas.concentration_after(start, half_loss, hours)
    assume(end > 0)
    expected = gas.exposure_of_decay(start, half_loss, hours)
    assert gas.exposure_ppm_h(start, end, hours) == pytest.approx(expected)


@given(ppm, ppm, st.floats(0, 48))
def test_exposure_lies_between_its_ends_and_never_above_the_trapezoid(
    start: float, end: float, hours: float
) -> None:
    exposure = gas.exposure_ppm_h(start, end, hours)
    slack = 1e-9 * (start + end) * hours
    assert exposure <= (start + end) / 2 * hours + slack
    assert exposure >= min(start, end) * hours - slack


def test_a_fall_to_nothing_counts_nothing() -> None:
    assert gas.exposure_ppm_h(500, 0, 3) == 0


def test_a_fall_to_next_to_nothing_still_counts() -> None:
    # A thousand half-lives on, the ratio of the readings no longer fits a float.
    assert gas.exposure_ppm_h(1.0, 1e-316, 10.5) == pytest.approx(
        10.5 / (316 * math.log(10)), rel=1e-3
    )
    assert gas.exposure_ppm_h(48, 47.999999, 1) == pytest.approx(47.9999995)


@given(series, st.integers(1, 18))
def test_dose_is_additive_over_a_split(
    rows: list[tuple[float, float, float, float]], cut: int
) -> None:
    log = readings(rows)
    cut = min(cut, len(log) - 1)
    whole = gas.sensor_dose(log, STRICT)
    first, second = gas.sensor_dose(log[: cut + 1], STRICT), gas.sensor_dose(log[cut:], STRICT)
    assert first.dose_ppm_h + second.dose_ppm_h == pytest.approx(whole.dose_ppm_h)
    assert first.hours_counted + second.hours_counted == pytest.approx(whole.hours_counted)
    assert first.uncounted + second.uncounted == whole.uncounted


@given(series)
def test_every_hour_is_either_counted_or_listed(
    rows: list[tuple[float, float, float, float]],
) -> None:
    log = readings(rows)
    dose = gas.sensor_dose(log, STRICT)
    listed = sum(spell.to_hour - spell.from_hour for spell in dose.uncounted)
    assert dose.hours_counted + listed == pytest.approx(log[-1].hour - log[0].hour)
    assert dose.dose_ppm_h <= gas.sensor_dose(log, ANY).dose_ppm_h + 1e-9


GOOD = GasReading(0, 400, 25, 0.7)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"ppm": 99.9}, NotCounted.CONCENTRATION),
        ({"t_c": 19.9}, NotCounted.TEMPERATURE),
        ({"t_c": 30.1}, NotCounted.TEMPERATURE),
        ({"t_c": None}, NotCounted.TEMPERATURE_UNKNOWN),
        ({"rh": 0.59}, NotCounted.HUMIDITY),
        ({"rh": 0.81}, NotCounted.HUMIDITY),
        ({"rh": None}, NotCounted.HUMIDITY_UNKNOWN),
        ({"hour": 2.1}, NotCounted.GAP),
    ],
)
def test_time_outside_the_window_counts_for_nothing(
    changes: dict[str, Any], reason: NotCounted
) -> None:
    after = replace(GOOD, **{"hour": 2.0, **changes})
    dose = gas.sensor_dose([GOOD, after], STRICT)
    assert dose.dose_ppm_h == dose.hours_counted == 0
    assert dose.uncounted == (Uncounted(0, after.hour, reason),)
    back = replace(after, hour=0.0), replace(GOOD, hour=after.hour)
    assert gas.sensor_dose(back, STRICT).uncounted == dose.uncounted


def test_the_ends_of_the_window_belong_to_it() -> None:
    low = GasReading(0, 100, 20, 0.6)
    high = GasReading(2, 100, 30, 0.8)
    assert gas.sensor_dose([low, high], STRICT).dose_ppm_h == 200


def test_an_open_window_asks_for_no_temperature_or_humidity() -> None:
    bare = [GasReading(0, 50), GasReading(1, 50)]
    assert gas.sensor_dose(bare, ANY).dose_ppm_h == 50
    one_sided = DoseWindow(longest_gap_h=2, t_min_c=20)
    assert gas.sensor_dose(bare, one_sided).uncounted[0].reason is NotCounted.TEMPERATURE_UNKNOWN
    warm = [GasReading(0, 50, 70), GasReading(1, 50, 70)]
    assert gas.sensor_dose(warm, one_sided).dose_ppm_h == 50
    dry = [GasReading(0, 50, rh=0.1), GasReading(1, 50, rh=0.1)]
    assert gas.sensor_dose(dry, DoseWindow(longest_gap_h=2, rh_max=0.5)).dose_ppm_h == 50


def test_one_reading_is_no_dose() -> None:
    dose = gas.sensor_dose([GOOD], STRICT)
    assert (dose.dose_ppm_h, dose.hours_counted, dose.uncounted) == (0, 0, ())


def test_the_lowest_sensor_speaks_for_the_dose() -> None:
    run = gas.run_dose(
        {
            "door": [GasReading(0, 400), GasReading(1, 400)],
            "floor": [GasReading(0, 300), GasReading(1, 300)],
            "fan": [GasReading(0, 500), GasReading(1, 500)],
        },
        ANY,
    )
    assert run.lowest_sensor == "floor"
    assert run.lowest.dose_ppm_h == 300
    assert run.by_sensor["fan"].dose_ppm_h == 500


def test_the_highest_sensor_speaks_for_clearance_and_silence_is_named() -> None:
    log = {
        "door": [GasReading(1, 90), GasReading(5, 0.2)],
        "floor": [GasReading(5, 0.4), GasReading(6, 0.1)],
        "fan": [GasReading(4.9, 0.0)],
    }
    found = gas.highest_since(log, 5)
    assert found is not None
    assert (found.sensor, found.reading.ppm) == ("floor", 0.4)
    assert found.silent_sensors == ("fan",)
    assert gas.highest_since(log, 7) is None
    assert gas.highest_since({}, 0) is None


# --- decay -----------------------------------------------------------------------------------


@given(st.floats(10, 1e4), st.floats(0.1, 40), st.lists(st.floats(0.1, 5), min_size=2, max_size=8))
def test_a_clean_decay_is_recovered(start: float, half_loss: float, steps: list[float]) -> None:
    hours = np.cumsum([0.0, *steps])
    log = [GasReading(float(h), gas.concentration_after(start, half_loss, float(h))) for h in hours]
    assume(all(reading.ppm > 1e-6 for reading in log))
    fit = gas.fit_half_loss(log, 0)
    assert fit.half_loss_h == pytest.approx(half_loss, rel=1e-6)
    assert fit.rate_low <= fit.rate_per_h <= fit.rate_high


def test_the_interval_follows_student_s_t() -> None:
    # By hand: ln C = 3, 2, 1.3, 0 at 0, 1, 2, 3 h; slope -0.97, sum of squared residuals 0.063.
    ln_c = [3.0, 2.0, 1.3, 0.0]
    log = [GasReading(float(h), math.exp(value)) for h, value in enumerate(ln_c)]
    fit = gas.fit_half_loss(log, 0)
    assert fit.rate_per_h == pytest.approx(0.97)
    error = math.sqrt(0.063 / 2 / 5)
    assert fit.rate_high - fit.rate_per_h == pytest.approx(2.920 * error)
    assert fit.rate_per_h - fit.rate_low == pytest.approx(2.920 * error)
    assert fit.half_loss_low_h == pytest.approx(math.log(2) / fit.rate_high)
    assert fit.half_loss_high_h == pytest.approx(math.log(2) / fit.rate_low)


def test_rising_gas_has_no_half_loss_time() -> None:
    fit = gas.fit_half_loss([GasReading(0, 1), GasReading(1, 2), GasReading(2, 4)], 0)
    assert fit.rate_per_h == pytest.approx(-math.log(2))
    assert fit.half_loss_h == fit.half_loss_high_h == math.inf


def test_readings_at_the_detection_limit_are_left_out_and_counted() -> None:
    log = [GasReading(h, c) for h, c in [(0, 8.0), (1, 4.0), (2, 2.0), (3, 0.1), (4, 0.0)]]
    fit = gas.fit_half_loss(log, 0.1)
    assert (fit.readings_used, fit.readings_left_out) == (3, 2)
    assert fit.half_loss_h == pytest.approx(1)


def test_many_readings_use_the_last_quantile() -> None:
    wobble = [0.1, -0.1] * 25
    log = [GasReading(h, math.exp(5 - 0.1 * h + wobble[h])) for h in range(50)]
    fit = gas.fit_half_loss(log, 0)
    ln_c = np.log([reading.ppm for reading in log])
    hours = np.arange(50.0)
    slope, intercept = np.polyfit(hours, ln_c, 1)
    squares = ((ln_c - slope * hours - intercept) ** 2).sum()
    error = math.sqrt(squares / 48 / ((hours - hours.mean()) ** 2).sum())
    assert fit.rate_high - fit.rate_per_h == pytest.approx(1.697 * error)


# --- airing ----------------------------------------------------------------------------------

AIRED = {"air_changes_per_h": 6.0, "mixing_factor": 3.0}


def test_air_already_thin_enough_needs_no_airing() -> None:
    assert gas.airing_time_h(0.1, 0.1, **AIRED) == 0
    assert gas.airing_time_h(0.0, 0.1, **AIRED) == 0


@given(st.floats(1, 1e4), st.floats(0.01, 0.9), st.floats(0.5, 50), st.floats(1, 10))
def test_airing_follows_the_decay(
    start: float, share: float, changes: float, mixing: float
) -> None:
    hours = gas.airing_time_h(start, start * share, air_changes_per_h=changes, mixing_factor=mixing)
    half_loss = gas.half_loss_time_h(changes / mixing)
    assert gas.concentration_after(start, half_loss, hours) == pytest.approx(start * share)


NONE = Rebound(ppm=0, half_life_h=1)
rebounds = st.builds(Rebound, st.floats(0, 500), st.floats(0.05, 50))


@given(st.floats(1, 1e4), st.floats(0.01, 0.9), st.floats(0.5, 20), st.floats(1, 10))
def test_without_rebound_the_check_comes_when_the_air_is_thin(
    start: float, share: float, changes: float, mixing: float
) -> None:
    how = {"air_changes_per_h": changes, "mixing_factor": mixing}
    assert gas.earliest_check_h(start, start * share, NONE, **how) == pytest.approx(
        gas.airing_time_h(start, start * share, **how)
    )


@given(st.floats(0, 1e4), st.floats(0.1, 50), rebounds, st.floats(0.5, 20), st.floats(1, 10))
def test_closed_at_the_earliest_check_the_chamber_would_stay_at_the_limit(
    start: float, limit: float, rebound: Rebound, changes: float, mixing: float
) -> None:
    how = {"air_changes_per_h": changes, "mixing_factor": mixing}
    hours = gas.earliest_check_h(start, limit, rebound, **how)
    then = gas.aired_ppm(start, rebound, hours, **how)
    left = Rebound(rebound.ppm * math.exp(-rebound.rate_per_h * hours), rebound.half_life_h)
    assert gas.held_closed_ppm(then, left, 1e4) <= limit * (1 + 1e-6)
    assert hours >= gas.earliest_check_h(start, limit, NONE, **how) - 1e-9
    if hours:
        assert gas.held_closed_ppm(then, left, 1e4) == pytest.approx(limit, rel=1e-3)


@given(st.floats(0, 1000), rebounds, st.floats(0.01, 48), st.floats(0.5, 20))
def test_airing_with_rebound_solves_its_mass_balance(
    start: float, rebound: Rebound, hours: float, changes: float
) -> None:
    aired = partial(gas.aired_ppm, start, rebound, air_changes_per_h=changes, mixing_factor=1.0)
    r, step = rebound.rate_per_h, 1e-4
    change = (aired(hours + step) - aired(hours - step)) / (2 * step)
    source = rebound.ppm * r * math.exp(-r * hours)
    scale = (start + rebound.ppm) * (changes + r) ** 3 * step**2 + 1e-6
    assert change == pytest.approx(source - changes * aired(hours), abs=scale)


def test_equal_rates_are_no_division_by_nought() -> None:
    even = Rebound(100, math.log(2) / 6)
    how = {"air_changes_per_h": 6.0, "mixing_factor": 1.0}
    assert gas.aired_ppm(0, even, 0.5, **how) == pytest.approx(100 * 6 * 0.5 * math.exp(-3))
    assert gas.aired_ppm(0, Rebound(100, 1e-3), 10, **how) == pytest.approx(0, abs=1e-9)
    assert gas.aired_ppm(70, even, 0, **how) == 70


def test_a_hold_tells_what_was_left_in_the_materials() -> None:
    # 5 ppm at closing, 17.5 ppm after 90 min: the rise reported for methyl bromide in houses.
    seen = Rebound.from_hold(ppm_closed=5, ppm_later=17.5, hours=1.5, half_life_h=1.5)
    assert seen.ppm == pytest.approx(25)
    assert gas.held_closed_ppm(5, seen, 1.5) == pytest.approx(17.5)
    assert gas.held_closed_ppm(5, seen, 0) == 5


# --- loading ---------------------------------------------------------------------------------

BOX = Chamber(volume_m3=10, rail_m=1.0, height_m=2.0)
RULE = LoadingRule(max_fill=0.5, between_m=0.05, to_wall_m=0.10, headspace_m=0.4, underfloor_m=0.1)


def test_a_load_at_every_limit_fits() -> None:
    pieces = [LoadPiece(width_m=1, height_m=1.5, thickness_m=0.1)] * 5
    check = gas.check_load(BOX, pieces, RULE)
    assert check.rail_needed_m == pytest.approx(0.5 + 4 * 0.05 + 0.2)
    assert check.height_needed_m == pytest.approx(2.0)
    assert check.fill == pytest.approx(0.075)
    assert check.fits
    full = gas.check_load(BOX, [LoadPiece(10, 0.5, 0.8)], replace(RULE, max_fill=0.4))
    assert full.fill == pytest.approx(0.4)
    assert full.fits


def test_what_does_not_fit_says_by_how_much() -> None:
    check = gas.check_load(BOX, [LoadPiece(4, 1.6, 0.9)], RULE)
    assert not check.fits
    assert check.problems == (
        "fills 58% of the chamber; at most 50% is allowed",
        "needs 1.10 m of rail with its spacing; there is 1 m",
        "needs 2.10 m of height; there is 2 m",
    )


def test_an_empty_chamber_fits() -> None:
    check = gas.check_load(BOX, [], RULE)
    assert (check.fill, check.rail_needed_m, check.fits) == (0, 0.2, True)


def test_our_own_rule_is_stricter_than_the_published_one() -> None:
    ours, published = gas.ARTWORK_LOADING, gas.CONTAINER_LOADING
    assert ours.max_fill < published.max_fill
    assert ours.headspace_m >= published.headspace_m
    assert ours.underfloor_m >= published.underfloor_m


@pytest.mark.parametrize(
    ("call", "names"),
    [
        (partial(charge, solids_m3=21), "volume of solids: 21.0"),
        (partial(charge, signed_ppm=0), "signed concentration: 0.0"),
        (partial(charge, t_c=104), "gas temperature: 104.0"),
        (partial(charge, p_pa=0), "air pressure: 0.0"),
        (partial(charge, molar_mass_g_mol=0), "molar mass: 0.0"),
        (partial(GasReading, math.nan, 1), "hour of a reading: nan"),
        (partial(GasReading, 0, -1), "gas reading: -1.0"),
        (partial(GasReading, 0, 1, 104), "chamber temperature: 104.0"),
        (partial(GasReading, 0, 1, 25, 70), "chamber relative humidity: 70.0"),
        (partial(DoseWindow, 0), "longest gap: 0.0"),
        (partial(DoseWindow, 1, -1), "least concentration: -1.0"),
        (partial(DoseWindow, 1, t_min_c=104), "lowest temperature of the window: 104.0"),
        (partial(DoseWindow, 1, rh_max=75), "highest relative humidity of the window: 75.0"),
        (partial(DoseWindow, 1, t_min_c=30, t_max_c=20), "temperature window: 30 to 20"),
        (partial(DoseWindow, 1, rh_min=0.8, rh_max=0.6), "relative humidity window: 0.8 to 0.6"),
        (partial(gas.sensor_dose, [], ANY), "hour of a reading: an empty series"),
        (partial(gas.sensor_dose, [GOOD, GOOD], ANY), "in strictly increasing order"),
        (partial(gas.run_dose, {}, ANY), "sensors of the run: none"),
        (partial(gas.run_dose, {"a": []}, ANY), "hour of a reading: an empty series"),
        (partial(gas.exposure_ppm_h, 1, 1, -1), "time between readings: -1.0"),
        (partial(gas.highest_since, {}, math.nan), "hour of clearance: nan"),
        (partial(gas.half_loss_time_h, 0), "loss rate: 0.0"),
        (partial(gas.concentration_after, 1, 0, 1), "half-loss time: 0.0"),
        (partial(gas.fit_half_loss, [GOOD], 0), "readings above the detection limit: 1"),
        (partial(gas.fit_half_loss, [], 0), "hour of a reading: an empty series"),
        (partial(gas.airing_time_h, 20, 0, **AIRED), "concentration to reach: 0.0"),
        (
            partial(gas.airing_time_h, 20, 1, air_changes_per_h=0, mixing_factor=1),
            "air changes: 0.0",
        ),
        (
            partial(gas.airing_time_h, 20, 1, air_changes_per_h=6, mixing_factor=0.5),
            "mixing factor: 0.5",
        ),
        (
            partial(gas.removal_time_h, 1.0, air_changes_per_h=6, mixing_factor=1),
            "removal efficiency: 1.0",
        ),
        (partial(Rebound, -1, 1), "rebound: -1.0"),
        (partial(Rebound, 1, 0), "half-life of release: 0.0"),
        (
            partial(Rebound.from_hold, ppm_closed=5, ppm_later=4, hours=1, half_life_h=1),
            "concentration after the hold: 4.0",
        ),
        (partial(gas.held_closed_ppm, -1, NONE, 1), "concentration at closing: -1.0"),
        (partial(gas.earliest_check_h, 20, 0, NONE, **AIRED), "limit: 0.0"),
        (partial(LoadingRule, 0), "largest fill: 0.0"),
        (partial(LoadingRule, 0.5, between_m=-1), "loading rule, between_m: -1.0"),
        (partial(Chamber, 0, 1, 1), "chamber volume: 0.0"),
        (partial(Chamber, 1, 0, 1), "rail length: 0.0"),
        (partial(Chamber, 1, 1, math.nan), "chamber height: nan"),
        (partial(LoadPiece, 1, 0, 1), "piece, height_m: 0.0"),
        (partial(gas.fill_fraction, -1, 1), "volume of the load: -1.0"),
    ],
)
def test_hostile_input_is_named(call: Callable[[], object], names: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        call()
    assert names in str(caught.value)
