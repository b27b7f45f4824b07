import math
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import mould
from shared.mould import (
    ClockSpell,
    Gap,
    MouldClock,
    MouldSensitivity,
    MrdState,
    SurfaceSeries,
    VttState,
)
from shared.quantities import OutOfRange

PINE = mould.vtt_wood()
MATERIALS = [mould.vtt_material(kind) for kind in MouldSensitivity] + [
    PINE,
    mould.vtt_wood(spruce=True, kiln_dried=True),
]

hours = st.tuples(st.floats(-10, 55), st.floats(0, 1))
weather = st.lists(hours, min_size=2, max_size=60)
gappy_weather = st.lists(st.none() | hours, min_size=2, max_size=60).filter(any)
materials = st.sampled_from(MATERIALS)


def series(rows: list[tuple[float, float]], first_hour: int = 0) -> SurfaceSeries:
    return SurfaceSeries.hourly([t for t, _ in rows], [rh for _, rh in rows], first_hour)


def steady(t_c: float, rh: float, count: int) -> SurfaceSeries:
    return SurfaceSeries.hourly([t_c] * count, [rh] * count)


# --- VTT -------------------------------------------------------------------------------------


@pytest.mark.parametrize("material", MATERIALS)
def test_nothing_grows_when_frozen_hot_or_dry(material: mould.VttMaterial) -> None:
    assert mould.critical_rh(0, material) == math.inf
    assert mould.critical_rh(50, material) == math.inf
    assert mould.growth_per_day(0, 25, material.rh_min - 0.001, material) == 0
    assert mould.growth_per_day(0, 25, material.rh_min + 0.05, material) > 0
    assert mould.growth_per_day(0, 0, 1, material) == 0
    assert mould.maximum_index(25, material.rh_min - 0.001, material) == 0


def test_critical_rh_has_its_floor_in_each_class() -> None:
    assert mould.critical_rh(20.1, mould.vtt_material(MouldSensitivity.SENSITIVE)) == 0.80
    assert mould.critical_rh(18, mould.vtt_material(MouldSensitivity.RESISTANT)) == 0.85
    assert mould.critical_rh(2, PINE) == pytest.approx(0.94359, abs=1e-5)


def test_more_sensitive_classes_grow_faster_and_further() -> None:
    by_class = [mould.vtt_material(kind) for kind in MouldSensitivity]
    pace = [mould.growth_per_day(0.5, 22, 0.97, material) for material in by_class]
    ceilings = [mould.maximum_index(22, 0.97, material) for material in by_class]
    assert pace == sorted(pace, reverse=True)
    assert ceilings == sorted(ceilings, reverse=True)
    assert len(set(pace)) == len(pace)


def test_the_updated_model_changes_pace_at_index_1() -> None:
    for kind, ratio in zip(
        MouldSensitivity, (2.0, 0.386 / 0.578, 0.097 / 0.072, 0.014 / 0.033), strict=True
    ):
        material = mould.vtt_material(kind)
        ceiling = mould.maximum_index(25, 1.0, material)
        before, after = 0.999999, 1.0
        expected = ratio * mould.saturation_factor(after, ceiling)
        expected /= mould.saturation_factor(before, ceiling)
        assert mould.growth_per_day(after, 25, 1.0, material) / mould.growth_per_day(
            before, 25, 1.0, material
        ) == pytest.approx(expected)


def test_the_original_model_reaches_index_3_near_its_own_time() -> None:
    # Hukka & Viitanen (1999) choose k1 so that index 3 falls at t_v where k2 is about 1.
    days = 7 * mould.weeks_to_index_3(25, 1.0, PINE)
    track = mould.vtt_index(steady(25, 1.0, int(2 * 24 * days)), PINE).index
    reached = int(np.argmax(track >= 3)) / 24
    assert reached == pytest.approx(days, rel=0.02)


def test_growth_stops_at_the_largest_index() -> None:
    track = mould.vtt_index(steady(28, 0.95, 24 * 200), PINE).index
    assert track[-1] == pytest.approx(mould.maximum_index(28, 0.95, PINE), abs=0.02)
    assert (np.diff(track) >= 0).all()
    assert mould.saturation_factor(5.5, 5.0) == 0


def test_decline_in_its_three_stretches() -> None:
    track = mould.vtt_index(steady(20, 0.5, 30), PINE, VttState(index=1.0)).index
    assert track[5] == pytest.approx(1 - 6 * 0.032 / 24)
    assert track[23] == pytest.approx(track[5])
    assert track[29] == pytest.approx(track[5] - 6 * 0.016 / 24)
    assert mould.decline_per_day(5.9, PINE) == -0.032
    assert mould.decline_per_day(6, PINE) == 0
    assert mould.decline_per_day(24, mould.vtt_wood(decline=0.25)) == -0.004


def test_a_damp_hour_starts_the_drying_over() -> None:
    rows = [(20.0, 0.5)] * 6 + [(20.0, 0.9)] + [(20.0, 0.5)] * 6
    track = mould.vtt_index(series(rows), PINE, VttState(index=1.0)).index
    assert track[12] - track[6] == pytest.approx(-6 * 0.032 / 24)


@given(gappy_weather, st.floats(0, 5), materials)
def test_the_index_stays_between_nothing_and_full(
    rows: list[tuple[float, float] | None], start: float, material: mould.VttMaterial
) -> None:
    run = mould.vtt_index(gappy(rows), material, VttState(start))
    assert (run.index >= 0).all()
    assert (run.index <= 6).all()


def gappy(rows: list[tuple[float, float] | None]) -> SurfaceSeries:
    return SurfaceSeries.hourly([row and row[0] for row in rows], [row and row[1] for row in rows])


@given(weather, st.integers(1, 59), st.floats(0, 4), materials)
def test_a_series_cut_in_two_equals_the_whole(
    rows: list[tuple[float, float]], cut: int, start: float, material: mould.VttMaterial
) -> None:
    cut = min(cut, len(rows) - 1)
    whole = mould.vtt_index(series(rows), material, VttState(start))
    first = mould.vtt_index(series(rows[:cut]), material, VttState(start))
    second = mould.vtt_index(series(rows[cut:], cut), material, first.state)
    assert second.state == whole.state
    assert [*first.index, *second.index] == list(whole.index)
    assert whole.gaps == second.gaps == ()


@given(weather, st.integers(1, 59), st.integers(1, 40), st.floats(-30, 0), materials)
def test_freezing_pauses_and_never_resets(
    rows: list[tuple[float, float]],
    cut: int,
    frozen: int,
    t_c: float,
    material: mould.VttMaterial,
) -> None:
    cut = min(cut, len(rows) - 1)
    plain = mould.vtt_index(series(rows), material, VttState(0.7))
    paused = mould.vtt_index(
        series([*rows[:cut], *[(t_c, 1.0)] * frozen, *rows[cut:]]), material, VttState(0.7)
    )
    assert paused.state.index == plain.state.index
    assert paused.state.dry_hours == plain.state.dry_hours
    assert paused.hours_frozen == plain.hours_frozen + frozen
    frozen_track = paused.index[cut : cut + frozen]
    assert (frozen_track == paused.index[cut - 1]).all()


@given(gappy_weather, materials)
def test_gaps_count_for_nothing_and_are_all_reported(
    rows: list[tuple[float, float] | None], material: mould.VttMaterial
) -> None:
    run = mould.vtt_index(gappy(rows), material, VttState(next_hour=0))
    measured = [row for row in rows if row]
    assert run.state.index == mould.vtt_index(series(measured), material).state.index
    missing = sum(gap.to_hour - gap.from_hour for gap in run.gaps)
    while rows[-1] is None:
        rows.pop()
    assert missing == len(rows) - len(measured)


def test_a_gap_between_two_series_is_seen() -> None:
    first = mould.vtt_index(steady(20, 0.9, 5), PINE)
    second = mould.vtt_index(series([(20.0, 0.9)] * 3, first_hour=9), PINE, first.state)
    assert second.gaps == (Gap(5, 9),)
    with pytest.raises(OutOfRange, match="5 or later, where the earlier series ended"):
        mould.vtt_index(series([(20.0, 0.9)], first_hour=4), PINE, first.state)


def test_the_largest_index_starts_from_nothing_in_resistant_classes() -> None:
    for kind in (MouldSensitivity.MEDIUM_RESISTANT, MouldSensitivity.RESISTANT):
        assert mould.maximum_index(25, 0.85, mould.vtt_material(kind)) == 0
    sensitive = mould.vtt_material(MouldSensitivity.SENSITIVE)
    assert mould.maximum_index(25, 0.80, sensitive) == pytest.approx(0.3)


def test_just_above_freezing_only_saturated_air_grows_anything() -> None:
    assert mould.critical_rh(1e-300, PINE) == 1
    assert mould.maximum_index(1e-300, 1.0, PINE) == 6
    assert mould.maximum_index(1e-300, 0.999, PINE) == 0


def test_an_hour_half_measured_is_a_gap() -> None:
    half = SurfaceSeries.hourly([20, None, 20, 20], [0.9, 0.9, None, 0.9])
    assert mould.vtt_index(half, PINE).gaps == (Gap(1, 3),)


def test_the_forecast_finds_the_hour_the_series_does() -> None:
    onset = mould.forecast_onset_h(PINE, 30, 1.0, within_h=500)
    assert onset == mould.vtt_index(steady(30, 1.0, 500), PINE).first_hour_at_1
    assert onset is not None
    assert onset / 24 == pytest.approx(7 * mould.weeks_to_index_1(30, 1.0, PINE), rel=0.01)
    assert mould.forecast_onset_h(PINE, 30, 1.0, within_h=int(onset) - 1) is None
    assert mould.forecast_onset_h(PINE, 20, 0.5, within_h=500) is None
    assert mould.forecast_onset_h(PINE, 20, 0.5, 10, VttState(1.2)) == 0
    begun = mould.vtt_index(steady(30, 1.0, 48), PINE).state
    assert mould.forecast_onset_h(PINE, 30, 1.0, 500, begun) == onset - 48


# --- MRD -------------------------------------------------------------------------------------


def test_the_reference_climate_takes_the_critical_dose_in_as_many_days() -> None:
    run = mould.mrd_dose(steady(20, 0.90, 24 * 20))
    assert run.first_hour_at_critical == 17 * 24
    assert run.dose_days[-1] == pytest.approx(20)
    lower = mould.mrd_dose(steady(20, 0.90, 48), critical_dose_days=1)
    assert lower.first_hour_at_critical == 24


def test_mrd_holds_its_last_temperature_factor_above_30() -> None:
    assert mould.mrd_temperature_factor(45) == mould.mrd_temperature_factor(30) > 1.3
    assert mould.mrd_daily_dose(0.05, 0.95) == -0.5
    assert mould.mrd_humidity_dose(0.75) == pytest.approx(0.05)
    assert mould.mrd_humidity_dose(0.60) == -0.5


@given(weather, st.integers(1, 59), st.floats(0, 20))
def test_an_mrd_series_cut_in_two_equals_the_whole(
    rows: list[tuple[float, float]], cut: int, start: float
) -> None:
    cut = min(cut, len(rows) - 1)
    whole = mould.mrd_dose(series(rows), start=MrdState(start))
    first = mould.mrd_dose(series(rows[:cut]), start=MrdState(start))
    second = mould.mrd_dose(series(rows[cut:], cut), start=first.state)
    assert second.state == whole.state
    assert [*first.dose_days, *second.dose_days] == list(whole.dose_days)
    assert (whole.dose_days >= 0).all()


@given(weather, st.integers(1, 40))
def test_freezing_pauses_the_mrd_dose(rows: list[tuple[float, float]], frozen: int) -> None:
    plain = mould.mrd_dose(series(rows), start=MrdState(5))
    paused = mould.mrd_dose(series([*[(-20.0, 0.9)] * frozen, *rows]), start=MrdState(5))
    assert paused.state.dose_days == plain.state.dose_days
    assert paused.hours_frozen == plain.hours_frozen + frozen


def test_mrd_gaps_are_reported() -> None:
    run = mould.mrd_dose(SurfaceSeries([0, 1, 7], [20, 20, 20], [0.9, 0.9, 0.9]))
    assert run.gaps == (Gap(2, 7),)
    assert run.state.dose_days == pytest.approx(3 / 24)


# --- other published opinions ----------------------------------------------------------------


def test_mycelium_grows_only_above_its_limit() -> None:
    limit = mould.mycelium_limit_rh(20)
    assert mould.mycelium_growth_mm_day(20, limit) == 0
    assert mould.mycelium_growth_mm_day(20, limit - 0.1) == 0
    assert mould.mycelium_growth_mm_day(20, limit + 0.1) == pytest.approx(2.1)


# --- the precautionary clock -----------------------------------------------------------------

spells = st.lists(
    st.builds(ClockSpell, st.floats(0, 100), st.none() | st.floats(-30, 45)), max_size=8
)


@pytest.mark.parametrize(
    ("t_c", "window_h"),
    [
        (25, 48),
        (25.1, 24),
        (10, 48),
        (9.9, 72),
        (0.1, 72),
        (0, math.inf),
        (-20, math.inf),
        (None, 48),
    ],
)
def test_windows_by_temperature(t_c: float | None, window_h: float) -> None:
    assert mould.precautionary_window_h(t_c) == window_h


@given(st.floats(0.1, 45), st.floats(0, 200))
def test_a_steady_temperature_runs_the_plain_window(t_c: float, elapsed_h: float) -> None:
    left = MouldClock().after([ClockSpell(elapsed_h, t_c)]).hours_left(t_c)
    assert left == pytest.approx(mould.precautionary_window_h(t_c) - elapsed_h, abs=1e-9)


def test_each_temperature_uses_its_own_share() -> None:
    clock = MouldClock().after([ClockSpell(24, 20), ClockSpell(6, 30)])
    assert clock.used == pytest.approx(0.75)
    assert clock.hours_left(20) == pytest.approx(12)
    assert clock.hours_left(30) == pytest.approx(6)
    assert clock.hours_counted == 30


@given(spells, st.floats(0.1, 1000), st.floats(-30, 0))
def test_a_frozen_spell_pauses_the_clock(before: list[ClockSpell], h: float, t_c: float) -> None:
    clock = MouldClock().after(before)
    frozen = clock.after([ClockSpell(h, t_c)])
    assert frozen.used == clock.used
    assert frozen.hours_counted == clock.hours_counted
    assert frozen.hours_paused == clock.hours_paused + h


@given(spells, spells)
def test_the_clock_cut_in_two_equals_the_whole_and_never_runs_back(
    first: list[ClockSpell], second: list[ClockSpell]
) -> None:
    half = MouldClock().after(first)
    whole = MouldClock().after([*first, *second])
    assert half.after(second) == whole
    assert whole.used >= half.used


def test_an_unwatched_clock_runs() -> None:
    clock = MouldClock().after([ClockSpell(12, None)])
    assert clock.hours_left(None) == 36
    assert clock.hours_unmeasured == clock.hours_counted == 12


def test_a_frozen_piece_has_time_unless_it_was_late_already() -> None:
    assert MouldClock(used=0.9).hours_left(-20) == math.inf
    assert MouldClock(used=1.2).hours_left(-20) == 0
    assert MouldClock(used=1.5).hours_left(20) == -24


@given(
    spells,
    st.none() | st.floats(-30, 45),
    st.dictionaries(st.sampled_from(["VTT", "MRD"]), st.none() | st.floats(-100, 1e4)),
)
def test_models_only_ever_shorten_the_deadline(
    before: list[ClockSpell], t_c: float | None, onsets: dict[str, float | None]
) -> None:
    clock = MouldClock().after(before)
    deadline = mould.mould_deadline(clock, t_c, onsets)
    assert deadline.hours_left <= clock.hours_left(t_c)
    expected = [onset for onset in onsets.values() if onset is not None]
    assert deadline.hours_left == min([clock.hours_left(t_c), *expected])
    assert deadline.considered == onsets


@given(st.floats(0.1, 49), st.floats(0.8, 1.0), materials)
def test_the_vtt_deadline_is_never_later_than_the_precautionary_one(
    t_c: float, rh: float, material: mould.VttMaterial
) -> None:
    onset = mould.forecast_onset_h(material, t_c, rh, within_h=96)
    deadline = mould.mould_deadline(MouldClock(), t_c, {"VTT": onset})
    assert deadline.hours_left <= mould.precautionary_window_h(t_c)
    assert deadline.set_by == mould.PRECAUTION


def test_a_model_that_is_sooner_is_named() -> None:
    deadline = mould.mould_deadline(MouldClock(), 20, {"VTT": 30.0, "MRD": 12.0})
    assert (deadline.hours_left, deadline.set_by) == (12, "MRD")


HALF_PAST: list[int] = np.array([0.5]).tolist()


@pytest.mark.parametrize(
    ("call", "names"),
    [
        (partial(SurfaceSeries, [], [], []), "hour of a surface reading: an empty series"),
        (partial(SurfaceSeries.hourly, [None], [0.5]), "hour of a surface reading: an empty"),
        (partial(SurfaceSeries, [0], [math.nan], [0.5]), "surface temperature: nan"),
        (partial(SurfaceSeries, [0], [20], [101]), "surface relative humidity: 101.0"),
        (partial(SurfaceSeries, [0], [20], [-0.2]), "surface relative humidity: -0.2"),
        (partial(SurfaceSeries, [0, 1], [20], [0.5]), "2 hours, 1 temperatures, 1 humidities"),
        (partial(SurfaceSeries.hourly, [20], []), "1 temperatures, 0 humidities"),
        (partial(SurfaceSeries, [1, 1], [20, 20], [0.5, 0.5]), "strictly increasing hours"),
        (partial(SurfaceSeries, HALF_PAST, [20], [0.5]), "whole, strictly increasing hours"),
        (partial(mould.critical_rh, 104, PINE), "surface temperature: 104.0"),
        (partial(SurfaceSeries, [0], [60.1], [0.5]), "a number from -40 to 60 °C"),
        (partial(SurfaceSeries, [0], [68], [0.5]), "If it was read in °F, convert it first"),
        (partial(mould.saturation_factor, math.nan, 3), "mould index: nan"),
        (partial(mould.saturation_factor, 3, 6.5), "largest mould index: 6.5"),
        (partial(VttState, index=math.nan), "mould index: nan"),
        (partial(VttState, dry_hours=-1), "hours since growth stopped: -1.0"),
        (partial(MrdState, dose_days=-0.1), "mould dose: -0.1"),
        (partial(mould.VttMaterial, 80, (1, 7, 2), None), "least relative humidity for growth"),
        (partial(mould.mrd_temperature_factor, 68), "surface temperature: 68.0"),
        (partial(mould.weeks_to_index_1, 0, 0.9, PINE), "surface temperature: 0.0"),
        (partial(mould.weeks_to_index_1, 20, 90, PINE), "surface relative humidity: 90.0"),
        (partial(mould.growth_per_day, 7, 20, 0.9, PINE), "mould index: 7.0"),
        (partial(mould.growth_per_day, 1, 20, math.nan, PINE), "surface relative humidity: nan"),
        (partial(mould.decline_per_day, -1, PINE), "hours since growth stopped: -1.0"),
        (partial(mould.vtt_wood, decline=1.5), "relative decline Cmat: 1.5"),
        (partial(mould.forecast_onset_h, PINE, 20, 0.9, 0), "hours to look ahead: 0.0"),
        (partial(mould.mrd_humidity_dose, 1.01), "surface relative humidity: 1.01"),
        (partial(mould.mrd_temperature_factor, 0), "surface temperature: 0.0"),
        (partial(mould.mrd_dose, steady(20, 0.9, 2), 0), "critical dose: 0.0"),
        (partial(mould.mycelium_limit_rh, 68), "surface temperature: 68.0"),
        (partial(mould.annex_14_critical_rh, 30), "surface temperature: 30.0"),
        (partial(ClockSpell, -1, 20), "hours of a spell: -1.0"),
        (partial(ClockSpell, 1, 70), "temperature of the piece: 70.0"),
        (
            partial(mould.mould_deadline, MouldClock(), 20, {"VTT": math.nan}),
            "onset by VTT: nan",
        ),
    ],
)
def test_hostile_input_is_named(call: Callable[[], object], names: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        call()
    assert names in str(caught.value)
