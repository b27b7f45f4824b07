"""Mould at its edges: the range of every argument, and figures worked by hand."""

import math
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest

from shared import mould
from shared.mould import (
    ClockSpell,
    Gap,
    MouldClock,
    MouldDeadline,
    MouldSensitivity,
    MrdState,
    SurfaceSeries,
    VttMaterial,
    VttState,
)
from shared.quantities import OutOfRange
from tests.shared.bounds import CELSIUS, FRACTION, Bound

PINE = mould.vtt_wood()
SENSITIVE = mould.vtt_material(MouldSensitivity.SENSITIVE)
T, RH = "surface temperature", "surface relative humidity"
FRACTION_WORDS = "a number from 0 to 1"


def steady(t_c: float, rh: float, count: int, first_hour: int = 0) -> SurfaceSeries:
    return SurfaceSeries.hourly([t_c] * count, [rh] * count, first_hour)


def surface_t(call: Callable[[float], object]) -> Bound:
    return Bound(call, T, -40, 60, "a number from -40 to 60 °C", CELSIUS)


def surface_rh(call: Callable[[float], object]) -> Bound:
    return Bound(call, RH, 0, 1, FRACTION_WORDS, FRACTION)


def growing_t(call: Callable[[float], object]) -> Bound:
    return Bound(call, T, 0, 50, "a number above 0 to 50 °C")


def growing_rh(call: Callable[[float], object]) -> Bound:
    return Bound(call, RH, 0, 1, "a number above 0 to 1")


def index(call: Callable[[float], object], quantity: str = "mould index") -> Bound:
    return Bound(call, quantity, 0, 6, "a number from 0 to 6")


CMAT = "relative decline Cmat"

BOUNDS = [
    Bound(
        lambda x: SurfaceSeries(np.array([x]).tolist(), [20], [0.5]),
        "hour of a surface reading",
        -1e7,
        1e7,
        "a number from -1e+07 to 1e+07 h",
    ),
    surface_t(lambda x: SurfaceSeries([0], [x], [0.5])),
    surface_t(lambda x: mould.critical_rh(x, PINE)),
    surface_t(lambda x: mould.maximum_index(x, 0.9, PINE)),
    surface_t(lambda x: mould.growth_per_day(0, x, 0.9, PINE)),
    surface_t(lambda x: mould.mrd_daily_dose(x, 0.9)),
    surface_rh(lambda x: SurfaceSeries([0], [20], [x])),
    surface_rh(lambda x: mould.maximum_index(20, x, PINE)),
    surface_rh(lambda x: mould.growth_per_day(0, 20, x, PINE)),
    surface_rh(mould.mrd_humidity_dose),
    surface_rh(lambda x: mould.mrd_daily_dose(20, x)),
    surface_rh(lambda x: mould.mycelium_growth_mm_day(20, x)),
    growing_t(lambda x: mould.weeks_to_index_1(x, 0.9, PINE)),
    growing_t(lambda x: mould.weeks_to_index_3(x, 0.9, PINE)),
    growing_rh(lambda x: mould.weeks_to_index_1(20, x, PINE)),
    growing_rh(lambda x: mould.weeks_to_index_3(20, x, PINE)),
    index(lambda x: mould.growth_per_day(x, 20, 0.9, PINE)),
    index(lambda x: mould.saturation_factor(x, 3)),
    index(lambda x: mould.saturation_factor(3, x), "largest mould index"),
    index(VttState),
    Bound(
        lambda x: VttMaterial(x, (0, 1, 1), None),
        "least relative humidity for growth",
        0,
        1,
        FRACTION_WORDS,
        FRACTION,
    ),
    Bound(lambda x: mould.vtt_wood(decline=x), CMAT, 0, 1, FRACTION_WORDS),
    Bound(lambda x: mould.vtt_material(MouldSensitivity.SENSITIVE, x), CMAT, 0, 1, FRACTION_WORDS),
    Bound(
        lambda x: mould.decline_per_day(x, PINE),
        "hours since growth stopped",
        0,
        1e7,
        "a number from 0 to 1e+07 h",
    ),
    Bound(
        lambda x: VttState(dry_hours=x),  # type: ignore[arg-type]
        "hours since growth stopped",
        0,
        1e7,
        "a number from 0 to 1e+07 h",
    ),
    Bound(MrdState, "mould dose", 0, 1e6, "a number from 0 to 1e+06 days"),
    Bound(
        lambda x: mould.forecast_onset_h(PINE, -5, 0.5, x),  # type: ignore[arg-type]
        "hours to look ahead",
        1,
        50_000,
        "a number from 1 to 50000 h",
    ),
    Bound(mould.mrd_temperature_factor, T, 0.1, 60, "a number from 0.1 to 60 °C"),
    Bound(
        lambda x: mould.mrd_dose(steady(20, 0.9, 1), x),
        "critical dose",
        0,
        1000,
        "a number above 0 to 1000 days",
    ),
    Bound(mould.mycelium_limit_rh, T, 0, 30, "a number from 0 to 30 °C", CELSIUS),
    Bound(mould.annex_14_critical_rh, T, 0, 22, "a number from 0 to 22 °C", CELSIUS),
    Bound(
        mould.precautionary_window_h,
        "temperature of the piece",
        -60,
        60,
        "a number from -60 to 60 °C",
        CELSIUS,
    ),
    Bound(ClockSpell, "hours of a spell", 0, 1e6, "a number from 0 to 1e+06 h"),
    Bound(
        lambda x: mould.mould_deadline(MouldClock(), 20, {"VTT": x}),
        "onset by VTT",
        -1e6,
        1e6,
        "a number from -1e+06 to 1e+06 h from now",
    ),
]


@pytest.mark.parametrize("bound", BOUNDS, ids=str)
def test_an_argument_keeps_its_range_and_the_error_says_which_range(bound: Bound) -> None:
    bound.assert_kept()


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            partial(SurfaceSeries, [0, 1], [20], [0.5, 0.5, 0.5]),
            "surface series: 2 hours, 1 temperatures, 3 humidities is not of equal lengths.",
        ),
        (
            partial(SurfaceSeries, [0, 1], [20, 20], [0.5]),
            "surface series: 2 hours, 2 temperatures, 1 humidities is not of equal lengths.",
        ),
        (
            partial(SurfaceSeries.hourly, [20, 20], [0.5]),
            "surface series: 2 temperatures, 1 humidities is not of equal lengths.",
        ),
        (
            partial(SurfaceSeries, [0, 0], [20, 20], [0.5, 0.5]),
            "hour of a surface reading: the series is not in whole, strictly increasing hours.",
        ),
        (
            partial(SurfaceSeries, np.array([0, 0.5]).tolist(), [20, 20], [0.5, 0.5]),
            "hour of a surface reading: the series is not in whole, strictly increasing hours.",
        ),
        (
            partial(mould.vtt_index, steady(20, 0.9, 3, 7), PINE, VttState(next_hour=9)),
            "hour of a surface reading: 7 is not 9 or later, where the earlier series ended.",
        ),
        (
            partial(mould.mrd_dose, steady(20, 0.9, 3, 7), start=MrdState(next_hour=9)),
            "hour of a surface reading: 7 is not 9 or later, where the earlier series ended.",
        ),
    ],
)
def test_a_series_that_makes_no_sense_is_refused_in_words(
    call: Callable[[], object], sentence: str
) -> None:
    with pytest.raises(OutOfRange) as caught:
        call()
    assert str(caught.value) == sentence


# --- VTT -------------------------------------------------------------------------------------


def test_hours_count_from_nought_unless_the_series_says_otherwise() -> None:
    assert SurfaceSeries.hourly([20, None, 21], [0.9, 0.9, 0.8]) == SurfaceSeries(
        [0, 2], [20, 21], [0.9, 0.8]
    )
    assert steady(20, 0.9, 2, first_hour=5).hour == [5, 6]


def test_a_material_declines_as_pine_unless_the_caller_says_otherwise() -> None:
    for plain in (PINE, SENSITIVE, VttMaterial(0.8, (1, 7, 2), None)):
        assert mould.decline_per_day(0, plain) == -0.032
        assert mould.decline_per_day(24, plain) == -0.016
    slow = mould.vtt_material(MouldSensitivity.SENSITIVE, 0.25)
    assert mould.decline_per_day(0, slow) == -0.008


def test_plain_pine_is_neither_spruce_nor_kiln_dried() -> None:
    # Hukka & Viitanen (1999): W multiplies the time by exp(0.14), SQ by exp(-0.33).
    def weeks(**kind: bool) -> float:
        return mould.weeks_to_index_1(20, 0.9, mould.vtt_wood(**kind))

    assert weeks() == weeks(spruce=False, kiln_dried=False)
    assert weeks(spruce=True) / weeks() == pytest.approx(1.15027, abs=1e-5)
    assert weeks(kiln_dried=True) / weeks() == pytest.approx(0.71892, abs=1e-5)
    bare = VttMaterial(0.8, (1, 7, 2), None)
    assert mould.weeks_to_index_1(20, 0.9, bare) == weeks()


def test_spruce_reaches_visible_growth_a_little_later_than_pine() -> None:
    # exp(0.06): the species term of the time to index 3.
    spruce = mould.weeks_to_index_3(20, 0.9, mould.vtt_wood(spruce=True))
    assert spruce / mould.weeks_to_index_3(20, 0.9, PINE) == pytest.approx(1.06184, abs=1e-5)


@pytest.mark.parametrize(
    ("t_c", "critical"),
    [
        (20.0, 0.80040),  # -0.00267 * 8000 + 0.16 * 400 - 3.13 * 20 + 100 = 80.04
        (20.001, 0.80),
        (49.999, 0.80),
        (0.0, math.inf),
        (50.0, math.inf),
    ],
)
def test_the_critical_humidity_at_the_joints_of_its_curve(t_c: float, critical: float) -> None:
    assert mould.critical_rh(t_c, PINE) == pytest.approx(critical, abs=1e-9)


def test_growth_starts_at_the_critical_humidity_itself() -> None:
    assert mould.growth_per_day(0, 25, 0.80, PINE) > 0
    assert mould.maximum_index(25, 0.80, PINE) == 1  # A of the largest index
    run = mould.vtt_index(steady(25, 0.80, 24), PINE)
    assert run.index[0] > 0
    assert run.state.dry_hours == 0


def test_the_largest_index_by_hand_and_never_below_nought() -> None:
    # 25 °C, 90 %: halfway from 80 to 100 %. A + B/2 - C/4.
    assert mould.maximum_index(25, 0.90, SENSITIVE) == pytest.approx(0.3 + 3 - 0.25)
    sinking = VttMaterial(0.80, (0.0, 1.0, 4.0), None)
    assert mould.maximum_index(25, 1.0, sinking) == 0  # 0 + 1 - 4


def test_wood_can_be_wholly_overgrown_in_saturated_air() -> None:
    # A + B - C = 1 + 7 - 2: the largest index of the original model.
    for spruce in (False, True):
        assert mould.maximum_index(25, 1.0, mould.vtt_wood(spruce=spruce)) == pytest.approx(6)


def test_saturation_never_turns_growth_into_loss() -> None:
    assert mould.saturation_factor(3, 3) == 0
    assert mould.saturation_factor(4, 3) == 0
    assert mould.saturation_factor(2, 3) == pytest.approx(0.89974, abs=1e-5)  # 1 - exp(-2.3)


def test_the_original_wood_changes_pace_at_index_1() -> None:
    # 20 °C, 90 %: 4.202 weeks to index 1 and 7.734 to index 3 (Hukka & Viitanen 1999), so the
    # factor above index 1 is 2 / (7.734 / 4.202 - 1) = 2.379. The largest index is 4 (nearly).
    slow = mould.growth_per_day(0.5, 20, 0.90, PINE)
    fast = mould.growth_per_day(1.0, 20, 0.90, PINE)
    k2 = [1 - math.exp(2.3 * (start - 4)) for start in (0.5, 1.0)]
    assert slow == pytest.approx(k2[0] / (7 * 4.202), rel=1e-3)
    assert fast == pytest.approx(2.379 * k2[1] / (7 * 4.202), rel=2e-3)


@pytest.mark.parametrize(
    ("dry_hours", "per_day"),
    [(0, -0.032), (5, -0.032), (6, 0.0), (23, 0.0), (23.9, 0.0), (24, -0.016), (1e6, -0.016)],
)
def test_the_decline_at_its_joints(dry_hours: float, per_day: float) -> None:
    assert mould.decline_per_day(dry_hours, PINE) == per_day


def test_a_series_goes_on_where_the_earlier_one_left_off() -> None:
    begun = VttState(index=2.0, dry_hours=23, next_hour=10)
    run = mould.vtt_index(steady(20, 0.5, 2, first_hour=10), PINE, begun)
    # The 24th dry hour costs nothing, the one after it a 24th of 0.016.
    assert run.index == pytest.approx([2.0, 2.0 - 0.016 / 24])
    assert run.state == VttState(2.0 - 0.016 / 24, 25, 12)
    assert run.gaps == ()
    assert run.hours_frozen == 0


def test_a_fresh_series_starts_from_nothing() -> None:
    assert VttState() == VttState(0.0, 0, None)
    dry = mould.vtt_index(steady(20, 0.5, 3, first_hour=100), PINE)
    assert list(dry.index) == [0, 0, 0]
    assert dry.state == VttState(0.0, 3, 103)
    assert dry.first_hour_at_1 is None
    assert dry.gaps == ()


def test_the_first_hour_at_index_1_is_told_once_and_counts_to_its_end() -> None:
    grown = mould.vtt_index(steady(30, 1.0, 3, first_hour=7), PINE, VttState(1.0))
    assert grown.first_hour_at_1 == 8
    nearly = mould.vtt_index(steady(30, 1.0, 3, first_hour=7), PINE, VttState(0.995))
    # 0.737 weeks to index 1 at 30 °C and 100 %: 0.0081 an hour, so the first hour reaches it.
    assert nearly.first_hour_at_1 == 8


@pytest.mark.parametrize("begun_at", [1.0, 1 - 5e-10])
def test_an_index_of_1_counts_as_reached_even_where_hourly_sums_fall_a_hair_short(
    begun_at: float,
) -> None:
    frozen = mould.vtt_index(steady(-5, 0.9, 2, first_hour=7), PINE, VttState(begun_at))
    assert frozen.first_hour_at_1 == 8


def test_frozen_hours_are_counted_each_and_change_nothing() -> None:
    begun = VttState(2.0, 7, 0)
    run = mould.vtt_index(steady(0.0, 1.0, 5), PINE, begun)
    assert run.hours_frozen == 5
    assert run.state == VttState(2.0, 7, 5)


def test_every_gap_is_listed_in_order() -> None:
    hours = [3, 4, 8, 9, 20]
    bare = SurfaceSeries(hours, [20] * 5, [0.5] * 5)
    run = mould.vtt_index(bare, PINE, VttState(next_hour=1))
    assert run.gaps == (Gap(1, 3), Gap(5, 8), Gap(10, 20))
    assert mould.vtt_index(bare, PINE).gaps == (Gap(5, 8), Gap(10, 20))


# --- the forecast ----------------------------------------------------------------------------


def test_a_forecast_counts_from_now_and_looks_no_further_than_asked() -> None:
    fresh = mould.forecast_onset_h(PINE, 30, 1.0, 500)
    assert fresh == pytest.approx(7 * 24 * 0.737, abs=1.5)  # 0.737 weeks (Hukka & Viitanen 1999)
    late = mould.forecast_onset_h(PINE, 30, 1.0, 500, VttState(next_hour=1000))
    assert late == fresh
    assert mould.forecast_onset_h(PINE, 30, 1.0, int(fresh or 0)) == fresh
    assert mould.forecast_onset_h(PINE, 30, 1.0, 1, VttState(0.995)) == 1


@pytest.mark.parametrize(("start", "hours"), [(1.0, 0.0), (5.0, 0.0)])
def test_a_surface_already_grown_needs_no_forecast(start: float, hours: float) -> None:
    assert mould.forecast_onset_h(PINE, 20, 0.5, 10, VttState(start)) == hours


# --- MRD -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rh", "dose"),
    [
        (0.55, -0.5),
        (0.60, -0.5),
        (0.6001, -0.49963),  # -2.7 + 1.1 / 30 * 60.01
        (0.75, 0.05),
        (0.7501, 0.0590),  # exp(15.53 ln(75.01 / 90))
    ],
)
def test_the_daily_dose_at_its_joints(rh: float, dose: float) -> None:
    # Thelandersson & Isaksson (2013).
    assert mould.mrd_humidity_dose(rh) == pytest.approx(dose, abs=5e-5)
    assert mould.mrd_daily_dose(20, rh) == pytest.approx(dose, abs=5e-5)


@pytest.mark.parametrize(("t_c", "dose"), [(0.0999, -0.5), (0.1, 0.01983), (30, 1.34992)])
def test_the_daily_dose_by_temperature(t_c: float, dose: float) -> None:
    # (0.1 / 20) ^ 0.74 and (30 / 20) ^ 0.74 at the reference humidity.
    assert mould.mrd_daily_dose(t_c, 0.90) == pytest.approx(dose, abs=1e-5)


def test_a_dose_goes_on_from_where_it_stood_and_never_below_nought() -> None:
    begun = MrdState(dose_days=0.03, next_hour=10)
    run = mould.mrd_dose(steady(20, 0.5, 2, first_hour=10), start=begun)
    # Half a day less per dry day at 20 °C: 0.0208 an hour, and no further down than nought.
    assert run.dose_days == pytest.approx([0.03 - 0.5 / 24, 0.0])
    assert run.state == MrdState(0.0, 12)
    assert run.first_hour_at_critical is None
    assert run.gaps == ()
    assert run.hours_frozen == 0


def test_a_fresh_dose_starts_from_nothing_and_pauses_in_the_frost() -> None:
    assert MrdState() == MrdState(0.0, None)
    run = mould.mrd_dose(steady(0.0, 0.95, 4, first_hour=3))
    assert list(run.dose_days) == [0, 0, 0, 0]
    assert run.hours_frozen == 4
    assert run.state == MrdState(0.0, 7)


def test_the_hour_at_the_critical_dose_is_the_first_and_counts_to_its_end() -> None:
    there = mould.mrd_dose(steady(20, 0.9, 5, first_hour=30), start=MrdState(16.96))
    assert there.first_hour_at_critical == 31
    assert mould.MRD_CRITICAL_DOSE_DAYS == 17
    custom = mould.mrd_dose(steady(20, 0.9, 5, first_hour=30), 17.1, MrdState(17.0))
    assert custom.first_hour_at_critical == 33  # three hours of a 24th of a day


# --- the precautionary clock -----------------------------------------------------------------


def test_a_fresh_clock_has_nothing_used_and_every_kind_of_hour_is_counted_apart() -> None:
    assert MouldClock() == MouldClock(0, 0, 0, 0)
    clock = MouldClock().after([ClockSpell(12, 20), ClockSpell(6, None), ClockSpell(30, -5)])
    assert clock.used == pytest.approx(18 / 48)
    assert clock.hours_counted == 18
    assert clock.hours_paused == 30
    assert clock.hours_unmeasured == 6
    again = clock.after([ClockSpell(6, None), ClockSpell(1, -5), ClockSpell(6, 20)])
    assert (again.hours_counted, again.hours_paused, again.hours_unmeasured) == (30, 31, 12)


def test_a_spell_nobody_measured_is_the_default() -> None:
    assert ClockSpell(3) == ClockSpell(3, None)


@pytest.mark.parametrize(
    ("used", "t_c", "left"),
    [
        (1.0, -5, 0.0),
        (0.999, -5, math.inf),
        (1.0, 20, 0.0),
        (0.5, None, 24.0),
        (0.5, 30, 12.0),
        (0.5, 5, 36.0),
        (1.25, 30, -6.0),
    ],
)
def test_hours_left_at_a_steady_temperature(used: float, t_c: float | None, left: float) -> None:
    assert MouldClock(used=used).hours_left(t_c) == left


def test_the_deadline_names_what_set_it_and_all_that_was_asked() -> None:
    onsets = {"VTT": 20.0, "MRD": None, "other": 30.0}
    found = mould.mould_deadline(MouldClock(), 20, onsets)
    assert found == MouldDeadline(20.0, "VTT", onsets)
    later_model = mould.mould_deadline(MouldClock(), 20, {"MRD": None, "VTT": 20.0})
    assert (later_model.hours_left, later_model.set_by) == (20.0, "VTT")
    tie = mould.mould_deadline(MouldClock(), 20, {"MRD": None, "VTT": 48.0})
    assert tie == MouldDeadline(48.0, "precautionary window", {"MRD": None, "VTT": 48.0})
    assert MouldDeadline(1.0, "VTT").considered == {}


def test_mycelium_grows_by_21_mm_a_day_for_each_whole_of_humidity_above_its_limit() -> None:
    # Passivhaus Institut: at 30 °C the limit is 0.244 exp(-3.6) + 0.775 = 0.78167.
    assert mould.mycelium_limit_rh(30) == pytest.approx(0.78167, abs=1e-5)
    assert mould.mycelium_growth_mm_day(30, 1.0) == pytest.approx(21 * (1 - 0.78167), abs=1e-3)
    assert mould.mycelium_limit_rh(0) == pytest.approx(0.244 + 0.775)
