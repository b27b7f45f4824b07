"""Ends of the ranges, what the scale can and cannot teach, and what a refused figure is told."""

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
import psychrolib
import pytest

from shared import drying
from shared.drying import DryingAir, DryingPiece, GabIsotherm, Weighing
from shared.quantities import OutOfRange

psychrolib.SetUnitSystem(psychrolib.SI)

PANEL = DryingPiece(
    dry_mass_kg=2.0,
    open_area_m2=0.5,
    thickness_m=0.02,
    open_faces=2,
    fibre_saturation=0.28,
    diffusivity_m2_s=2e-10,
)
ROOM = DryingAir(t_c=20, rh=0.45, air_speed_m_s=0.2)
EMC = 0.09
FAHRENHEIT = " If it was read in °F, convert it first: 68 °F is 20 °C."


def refusal(call: Callable[[], object]) -> str:
    with pytest.raises(OutOfRange) as caught:
        call()
    return str(caught.value)


# --- ends that are still taken ---------------------------------------------------------------


def test_wood_is_known_from_just_below_freezing_to_60_degrees() -> None:
    # Wood Handbook (2010), table 4-2, at 50 % RH: 9.5 % at -1.1 °C, and 8.9 % at 32 °C, than
    # which warmer wood holds less.
    cold, hot = drying.wood_emc([-2, 60], 0.5)
    assert cold == pytest.approx(0.095, abs=0.001)
    assert 0.06 < hot < 0.089


def test_wood_by_the_handbook_s_celsius_form_is_the_same() -> None:
    # Wood Handbook (2010), eq. 4-5: the coefficients printed for °C, rounded apart from those in
    # °F; from memory. The two forms agree to 6 parts in ten thousand.
    t_c, rh = np.meshgrid(np.arange(0.0, 61, 10), [0.1, 0.3, 0.5, 0.7, 0.9])
    w = 349 + 1.29 * t_c + 0.0135 * t_c**2
    a = (0.805 + 7.36e-4 * t_c - 2.73e-6 * t_c**2) * rh
    b1 = (6.27 - 0.00938 * t_c - 3.03e-4 * t_c**2) * a
    b2 = (1.91 + 0.0407 * t_c - 2.93e-4 * t_c**2) * a
    expected = 18 / w * (a / (1 - a) + (b1 + 2 * b1 * b2) / (1 + b1 + b1 * b2))
    np.testing.assert_allclose(drying.wood_emc(t_c, rh), expected, rtol=7e-4)


@pytest.mark.parametrize(
    "isotherm", [(1.0, 15, 0.78), (0.05, 0.5, 0.78), (0.05, 1000, 0.78), (0.05, 15, 0.999)]
)
def test_extreme_isotherms_are_taken(isotherm: tuple[float, float, float]) -> None:
    assert float(GabIsotherm(*isotherm).moisture(0.5)) > 0


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("dry_mass_kg", 0.001),
        ("dry_mass_kg", 1e4),
        ("open_area_m2", 0.001),
        ("open_area_m2", 1e3),
        ("thickness_m", 1e-5),
        ("thickness_m", 10),
        ("fibre_saturation", 0.01),
        ("fibre_saturation", 3),
        ("diffusivity_m2_s", 1e-16),
        ("diffusivity_m2_s", 1e-4),
        ("max_rh_step", 0.05),
        ("max_rh_step", 1),
    ],
)
def test_pieces_from_a_gram_to_ten_tonnes_are_taken(field: str, value: float) -> None:
    assert getattr(replace(PANEL, **{field: value}), field) == value  # type: ignore[arg-type]


@pytest.mark.parametrize(("t_c", "rh", "speed"), [(1, 1e-4, 0), (60, 0.95, 5)])
def test_air_from_just_above_freezing_to_nearly_wet_is_taken(
    t_c: float, rh: float, speed: float
) -> None:
    estimate = drying.estimate_drying(PANEL, DryingAir(t_c, rh, speed), 1.2, EMC)
    assert 0 < estimate.likely.total_h < math.inf


def test_the_first_instant_and_the_longest_time_are_taken() -> None:
    assert drying.fick_number(2e-10, 0, 0.02, 2) == 0
    # Half an hour is 1800 s: 2e-10 x 1800 / 0.02² = 9e-4; and a million hours by proportion.
    assert drying.fick_number(2e-10, 0.5, 0.02, 2) == pytest.approx(9e-4)
    assert drying.fick_number(2e-10, 1e6, 0.02, 2) == pytest.approx(1800)
    assert drying.slab_unaccomplished(1e9) == 0
    assert drying.slab_time(1) == pytest.approx(0, abs=1e-12)


def test_half_a_slab_s_water_is_gone_at_the_textbook_time() -> None:
    # Crank (1975), ch. 10, half times of sorption: 0.0492 L²/D, from memory.
    assert drying.slab_time(0.5) == pytest.approx(0.0492, abs=5e-5)


# --- evaporation -----------------------------------------------------------------------------


def test_a_wet_face_on_high_ground_is_cooler_and_evaporates_as_its_wet_bulb_says() -> None:
    # The flux goes with the vapour density at the wet bulb less that of the room; both from
    # PsychroLib's pressures, density being pressure over absolute temperature.
    def drive(p_pa: float) -> float:
        t_wb = psychrolib.GetTWetBulbFromRelHum(20.0, 0.45, p_pa)
        at_face = psychrolib.GetSatVapPres(t_wb) / (t_wb + 273.15)
        return float(at_face - psychrolib.GetVapPresFromRelHum(20.0, 0.45) / 293.15)

    high, low = (
        float(drying.evaporation_flux_kg_m2_h(20, 0.45, 0.2, p)) for p in (84_556, 101_325)
    )
    assert high / low == pytest.approx(drive(84_556) / drive(101_325), rel=1e-3)
    assert drying.evaporation_flux_kg_m2_h(20, 0.45, 0.2) == low


def test_the_first_stage_knows_the_pressure_of_its_room() -> None:
    mountain = replace(ROOM, p_pa=84_556)
    fluxes = [drying.evaporation_flux_kg_m2_h(20, 0.45, 0.2, p) for p in (84_556, 101_325)]
    up, down = (
        drying.estimate_drying(PANEL, room, 5, EMC).likely.free_water_h for room in (mountain, ROOM)
    )
    assert up / down == pytest.approx(float(fluxes[1] / fluxes[0]))


# --- two stages ------------------------------------------------------------------------------


def test_a_piece_as_wet_as_its_fibres_hold_has_no_free_water() -> None:
    assert drying.estimate_drying(PANEL, ROOM, 0.56, EMC).likely.free_water_h == 0
    assert drying.estimate_drying(PANEL, ROOM, 0.57, EMC).likely.free_water_h > 0


def test_dry_means_within_a_hundredth_unless_another_margin_is_given() -> None:
    usual = drying.estimate_drying(PANEL, ROOM, 1.2, EMC)
    assert usual == drying.estimate_drying(PANEL, ROOM, 1.2, EMC, 0.01)
    loose = drying.estimate_drying(PANEL, ROOM, 1.2, EMC, 0.02)
    assert loose.likely.total_h < usual.likely.total_h


@pytest.mark.parametrize("margin", [1e-4, 0.5])
def test_margins_from_a_ten_thousandth_to_a_half_are_taken(margin: float) -> None:
    assert drying.estimate_drying(PANEL, ROOM, 1.2, EMC, margin).likely.total_h > 0


def test_bound_water_leaves_as_it_leaves_a_slab_once_the_air_no_longer_holds_it_up() -> None:
    # From fibre saturation, 0.56 kg, towards 0.18 kg at equilibrium.
    hours = np.array([50.0, 100.0, 400.0])
    share = drying.slab_unaccomplished(drying.fick_number(2e-10, hours, 0.02, 2))
    left = drying.water_left_kg(PANEL, ROOM, 0.56, EMC, hours)
    np.testing.assert_allclose(left, 0.18 + 0.38 * share, rtol=1e-12)


def test_a_piece_kept_at_fibre_saturation_loses_its_free_water_only() -> None:
    estimate = drying.estimate_drying(PANEL, ROOM, 1.2, 0.28)
    assert estimate.likely.free_water_h > 0
    assert estimate.high.bound_water_h == 0
    assert drying.water_left_kg(PANEL, ROOM, 1.2, 0.28, 1e6) == pytest.approx(0.56)


def test_release_is_given_for_as_many_hours_as_asked_from_the_first() -> None:
    assert drying.moisture_release_kg_h(PANEL, ROOM, 1.2, EMC, 1).shape == (1,)
    assert drying.moisture_release_kg_h(PANEL, ROOM, 1.2, EMC, 100_000).shape == (100_000,)


# --- what the scale teaches ------------------------------------------------------------------


def weighed(piece: DryingPiece, water_kg: float, hours: list[float]) -> list[Weighing]:
    left = drying.water_left_kg(piece, ROOM, water_kg, EMC, hours)
    return [Weighing(h, piece.dry_mass_kg + float(m)) for h, m in zip(hours, left, strict=True)]


refit = partial(drying.refit_drying, PANEL, ROOM, EMC)


@pytest.mark.parametrize("factor", [0.75, 1.3])
def test_weighings_of_a_dripping_piece_teach_the_rate_and_leave_the_diffusivity_unknown(
    factor: float,
) -> None:
    # 4 kg of free water last some 100 h; in 60 h nothing has come from within.
    truth = replace(PANEL, open_area_m2=0.5 * factor)
    result = refit(weighed(truth, 6.0, [0.0, 10, 20, 40, 60]), scale_error_kg=0.005)
    assert result.rate_factor.likely == pytest.approx(factor, rel=0.02)
    assert result.rate_factor.high / result.rate_factor.low < 1.3
    assert result.diffusivity_m2_s.low == pytest.approx(2e-10 / 3, rel=0.02)
    assert result.diffusivity_m2_s.high == pytest.approx(2e-10 * 3, rel=0.02)
    true_h = drying.estimate_drying(truth, ROOM, 6.0, EMC).likely.total_h
    assert result.total_h.low < true_h < result.total_h.high


@pytest.mark.parametrize("factor", [0.85, 1.013])
def test_many_weighings_give_the_band_of_a_straight_line_through_the_start(factor: float) -> None:
    # While only free water leaves, mass falls by (rate x hours), so least squares gives the rate
    # a standard error of (error of a weighing) / (rate x root of the sum of squared hours); the
    # error is the scale's twice and 2 % of the 6 kg of water. 90 % lie within 1.645 of it.
    hours = [i / 5 for i in range(301)]
    result = refit(
        weighed(replace(PANEL, open_area_m2=0.5 * factor), 6.0, hours), scale_error_kg=0.005
    )
    rate_kg_h = 0.5 * float(drying.evaporation_flux_kg_m2_h(20, 0.45, 0.2))
    error_kg = math.sqrt(2 * 0.005**2 + (0.02 * 6.0) ** 2)
    half = 1.645 * error_kg / (rate_kg_h * math.sqrt(sum(h * h for h in hours)))
    assert result.rate_factor.likely == pytest.approx(factor, abs=0.02 * half)
    assert result.rate_factor.low == pytest.approx(factor - half, abs=0.05 * half)
    assert result.rate_factor.high == pytest.approx(factor + half, abs=0.05 * half)


@pytest.mark.parametrize(("inside", "outside"), [(1.37, 1.1), (0.6, 0.9), (2.2, 1.25), (0.41, 1)])
def test_weighings_through_both_stages_find_both_unknowns(inside: float, outside: float) -> None:
    truth = replace(PANEL, open_area_m2=0.5 * outside, diffusivity_m2_s=2e-10 * inside)
    result = refit(weighed(truth, 1.2, [i * 1.5 for i in range(201)]), scale_error_kg=0.001)
    assert result.diffusivity_m2_s.likely == pytest.approx(2e-10 * inside, rel=0.01)
    assert result.rate_factor.likely == pytest.approx(outside, rel=0.01)
    true_h = drying.estimate_drying(truth, ROOM, 1.2, EMC).likely.total_h
    assert result.total_h.likely == pytest.approx(true_h, rel=0.01)
    assert result.total_h.high / result.total_h.low < 1.15


def test_the_first_weighing_is_the_start_whatever_its_hour() -> None:
    weighings = weighed(PANEL, 1.2, [0.0, 24, 48])
    later = [replace(w, hour=w.hour + 1000) for w in weighings]
    assert refit(later, scale_error_kg=0.005) == refit(weighings, scale_error_kg=0.005)


@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_errors_are_widened_by_the_misfit_over_the_weighings_left_after_two_unknowns(
    count: int,
) -> None:
    # Within seconds nothing dries, so a piece that then weighs 0.5 kg more each time misses by
    # 0.5 kg each time. The expected error is the scale's twice (now and at the start) and 2 % of
    # the 1.2 kg of water: sqrt(2 x 0.02² + 0.024²) = 0.03709 kg.
    weighings = [Weighing(0, 3.2)] + [Weighing(i * 1e-4, 3.7) for i in range(1, count)]
    result = refit(weighings, scale_error_kg=0.02)
    widened = 0.5 / 0.03709 * math.sqrt((count - 1) / max(count - 2, 1))
    assert result.disbelieved == pytest.approx(widened, rel=1e-3)
    assert result.residual_kg == pytest.approx(0.5, rel=1e-3)
    assert result.weighings_used == count


@pytest.mark.parametrize(
    ("factor", "unexpected"), [(1 / 5.2, True), (1 / 4.3, False), (4.3, False), (5.4, True)]
)
def test_a_diffusivity_beyond_the_joint_band_contradicts_the_description(
    factor: float, unexpected: bool
) -> None:
    # Two unknowns at the ends of their 90 % bands, or one of them sqrt 2 bands out: a factor of
    # 3^sqrt 2 = 4.73 on the diffusivity alone.
    days = [0.0, 24, 48, 96, 200, 400, 600, 800] if factor < 1 else [0.0, 6, 12, 24, 36, 48, 60, 80]
    truth = replace(PANEL, diffusivity_m2_s=2e-10 * factor)
    result = refit(weighed(truth, 1.2, days), scale_error_kg=0.001)
    assert result.outside_expectation is unexpected
    assert result.diffusivity_m2_s.low < 2e-10 * factor < result.diffusivity_m2_s.high


@pytest.mark.parametrize(
    ("second_kg", "gained"), [(3.0, False), (3.375, False), (3.4375, True), (3.5, True)]
)
def test_water_was_gained_when_a_piece_is_heavier_by_more_than_three_scale_errors(
    second_kg: float, gained: bool
) -> None:
    weighings = [Weighing(0, 3.0), Weighing(24, second_kg)]
    assert refit(weighings, scale_error_kg=0.125).gained_water is gained


def test_weighings_may_be_minutes_apart_but_not_at_once() -> None:
    minutes = [Weighing(0, 3.2), Weighing(0.25, 3.199), Weighing(0.5, 3.198)]
    assert refit(minutes, scale_error_kg=0.005).weighings_used == 3


def test_a_piece_weighed_at_its_dry_mass_is_dry() -> None:
    result = refit([Weighing(0, 2.0)], scale_error_kg=0.005)
    assert (result.total_h.low, result.total_h.high) == (0, 0)


def test_the_margin_that_counts_as_dry_may_be_given_to_the_refit_too() -> None:
    weighings = weighed(PANEL, 1.2, [0.0, 24, 48])
    usual, loose = (
        refit(weighings, scale_error_kg=0.005, within=within).total_h for within in (0.01, 0.05)
    )
    assert usual == refit(weighings, scale_error_kg=0.005).total_h
    assert loose.likely < usual.likely


# --- dryness ---------------------------------------------------------------------------------


def test_dry_at_exactly_the_margin_but_not_at_exactly_the_change_or_the_humidity() -> None:
    # 0.01 - 0 is the margin itself; 995 g after 1000 g is a change of exactly 0.5 %.
    at_margin = drying.judge_dryness(0.01, 0.0, 1000, 1000, 0.5)
    assert at_margin.near_equilibrium
    assert not drying.judge_dryness(0.01, 0.0, 995, 1000, 0.5).steady_for_a_day
    assert not drying.judge_dryness(0.01, 0.0, 1005, 1000, 0.5).steady_for_a_day
    assert drying.judge_dryness(0.01, 0.0, 996, 1000, 0.5).steady_for_a_day


@pytest.mark.parametrize("mass_kg", [0.02, 1e4])
def test_dryness_is_judged_of_a_miniature_and_of_a_monument(mass_kg: float) -> None:
    assert drying.judge_dryness(0, 0, mass_kg, mass_kg, 0).is_dry
    assert drying.judge_dryness(10, 3, mass_kg, mass_kg, 1).steady_for_a_day


# --- what is refused -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            partial(drying.wood_emc, -2.5, 0.5),
            f"air temperature: -2.5 is not a number from -2 to 60 °C.{FAHRENHEIT}",
        ),
        (
            partial(GabIsotherm, 0, 15, 0.78),
            "GAB monolayer moisture: 0.0 is not a number above 0 to 1 kg/kg.",
        ),
        (
            partial(GabIsotherm, 1.5, 15, 0.78),
            "GAB monolayer moisture: 1.5 is not a number above 0 to 1 kg/kg.",
        ),
        (
            partial(GabIsotherm, 0.05, 1000.5, 0.78),
            "GAB constant C: 1000.5 is not a number above 0 to 1000.",
        ),
        (
            partial(GabIsotherm, 0.05, 15, 0),
            "GAB constant K: 0.0 is not a number above 0 to 0.999.",
        ),
        (
            partial(drying.evaporation_flux_kg_m2_h, 0.5, 0.5, 1),
            f"air temperature: 0.5 is not a number from 1 to 60 °C.{FAHRENHEIT}",
        ),
        (
            partial(drying.evaporation_flux_kg_m2_h, 20, 0.5, 5.5),
            "air speed at the face: 5.5 is not a number from 0 to 5 m/s.",
        ),
        (
            partial(drying.fick_number, 2e-4, 1, 0.02, 2),
            "diffusivity: 0.0002 is not a number above 0 to 0.0001 m2/s.",
        ),
        (
            partial(drying.fick_number, 2e-10, 1_000_000.5, 0.02, 2),
            "drying time: 1000000.5 is not a number from 0 to 1e+06 h.",
        ),
        (
            partial(drying.fick_number, 2e-10, 1, 10.5, 2),
            "thickness: 10.5 is not a number above 0 to 10 m.",
        ),
        (
            partial(drying.fick_number, 2e-10, 1, 0.02, 0),
            "open faces: 0 is not 1 or 2.",
        ),
        (
            partial(drying.slab_unaccomplished, 1_000_000_000.5),
            "dimensionless time: 1000000000.5 is not a number from 0 to 1e+09.",
        ),
        (
            partial(drying.slab_early_loss, 0.021),
            "dimensionless time: 0.021 is not a number from 0 to 0.02.",
        ),
        (
            partial(drying.slab_time, 1.5),
            "share still to lose: 1.5 is not a number from 1e-12 to 1.",
        ),
        (
            partial(DryingAir, 0.5, 0.5, 0.2),
            f"air temperature: 0.5 is not a number from 1 to 60 °C.{FAHRENHEIT}",
        ),
        (
            partial(DryingAir, 20, 0, 0.2),
            "relative humidity of the drying air: 0.0 is not a number from 0.0001 to 0.95."
            " Wetter air dries nothing. Give a fraction: 55 % is 0.55.",
        ),
        (
            partial(replace, PANEL, dry_mass_kg=10_000.5),
            "dry mass: 10000.5 is not a number above 0 to 10000 kg.",
        ),
        (
            partial(replace, PANEL, open_area_m2=0),
            "open area: 0.0 is not a number above 0 to 1000 m2.",
        ),
        (
            partial(replace, PANEL, open_area_m2=1000.5),
            "open area: 1000.5 is not a number above 0 to 1000 m2.",
        ),
        (
            partial(replace, PANEL, fibre_saturation=0),
            "fibre saturation: 0.0 is not a number above 0 to 3 kg/kg.",
        ),
        (
            partial(replace, PANEL, fibre_saturation=3.5),
            "fibre saturation: 3.5 is not a number above 0 to 3 kg/kg.",
        ),
        (
            partial(replace, PANEL, diffusivity_m2_s=0),
            "diffusivity: 0.0 is not a number above 0 to 0.0001 m2/s.",
        ),
        (
            partial(replace, PANEL, diffusivity_m2_s=2e-4),
            "diffusivity: 0.0002 is not a number above 0 to 0.0001 m2/s.",
        ),
        (
            partial(replace, PANEL, max_rh_step=0.04),
            "largest RH step: 0.04 is not a number from 0.05 to 1.",
        ),
        (
            partial(replace, PANEL, max_rh_step=1.5),
            "largest RH step: 1.5 is not a number from 0.05 to 1.",
        ),
        (
            partial(drying.estimate_drying, PANEL, ROOM, 10_000.5, EMC),
            "water in the piece: 10000.5 is not a number from 0 to 10000 kg.",
        ),
        (
            partial(drying.estimate_drying, PANEL, ROOM, 1, 0.29),
            "equilibrium moisture content: 0.29 is not a number from 0 to 0.28 kg/kg dry.",
        ),
        (
            partial(drying.estimate_drying, PANEL, ROOM, 1, EMC, 0.6),
            "margin to equilibrium: 0.6 is not a number from 0.0001 to 0.5 kg/kg dry.",
        ),
        (
            partial(drying.water_left_kg, PANEL, ROOM, 1, EMC, [0, 1_000_000.5]),
            "drying time: 1000000.5 is not a number from 0 to 1e+06 h.",
        ),
        (
            partial(drying.moisture_release_kg_h, PANEL, ROOM, 1, EMC, 100_001),
            "hours of drying: 100001.0 is not a number from 1 to 100000 h.",
        ),
        (
            partial(refit, [Weighing(0, 3)], scale_error_kg=100.5),
            "scale error: 100.5 is not a number above 0 to 100 kg.",
        ),
        (
            partial(refit, [Weighing(-10_000_000.5, 3)], scale_error_kg=0.1),
            "hour of a weighing: -10000000.5 is not a number from -1e+07 to 1e+07 h.",
        ),
        (
            partial(refit, [Weighing(10_000_000.5, 3)], scale_error_kg=0.1),
            "hour of a weighing: 10000000.5 is not a number from -1e+07 to 1e+07 h.",
        ),
        (
            partial(refit, [Weighing(0, 1.9)], scale_error_kg=0.1),
            "weighed mass: 1.9 is not a number from 2 to 10000 kg."
            " Nothing weighs less than its dry mass: correct the weighing or the dry mass.",
        ),
        (
            partial(refit, [Weighing(0, 10_000.5)], scale_error_kg=0.1),
            "weighed mass: 10000.5 is not a number from 2 to 10000 kg."
            " Nothing weighs less than its dry mass: correct the weighing or the dry mass.",
        ),
        (
            partial(refit, [Weighing(1, 3), Weighing(1, 2.9)], scale_error_kg=0.1),
            "hour of a weighing: the series is not in strictly increasing order.",
        ),
        (
            partial(drying.judge_dryness, 10.5, EMC, 2, 2, 0.5),
            "moisture content: 10.5 is not a number from 0 to 10 kg/kg dry.",
        ),
        (
            partial(drying.judge_dryness, 0.1, 3.5, 2, 2, 0.5),
            "equilibrium moisture content: 3.5 is not a number from 0 to 3 kg/kg dry.",
        ),
        (
            partial(drying.judge_dryness, 0.1, EMC, 10_000.5, 2, 0.5),
            "mass: 10000.5 is not a number above 0 to 10000 kg.",
        ),
        (
            partial(drying.judge_dryness, 0.1, EMC, 2, 0, 0.5),
            "mass a day before: 0.0 is not a number above 0 to 10000 kg.",
        ),
        (
            partial(drying.judge_dryness, 0.1, EMC, 2, 10_000.5, 0.5),
            "mass a day before: 10000.5 is not a number above 0 to 10000 kg.",
        ),
        (
            partial(drying.judge_dryness, 0.1, EMC, 2, 2, 1.5),
            "surface relative humidity: 1.5 is not a number from 0 to 1."
            " Give a fraction: 55 % is 0.55.",
        ),
    ],
)
def test_what_is_outside_is_refused_by_name_with_its_range_and_unit(
    call: Callable[[], object], sentence: str
) -> None:
    assert refusal(call) == sentence


def test_a_series_of_hours_keeps_its_shape() -> None:
    hours = np.array([[0.0, 10.0], [20.0, 30.0]])
    left = drying.water_left_kg(PANEL, ROOM, 1.2, EMC, hours)
    assert left.shape == (2, 2)
    assert left[0, 0] == pytest.approx(1.2)
