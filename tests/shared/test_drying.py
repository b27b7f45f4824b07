import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared import air, drying
from shared.drying import DryingAir, DryingPiece, GabIsotherm, Weighing
from shared.quantities import OutOfRange, Values

PANEL = DryingPiece(
    dry_mass_kg=2.0,
    open_area_m2=0.5,
    thickness_m=0.02,
    open_faces=2,
    fibre_saturation=0.28,
    diffusivity_m2_s=2e-10,
)
ROOM = DryingAir(t_c=20, rh=0.45, air_speed_m_s=0.2)
WATER_KG = 1.2
EMC = float(drying.wood_emc(20, 0.45))
AT_EMC_KG = EMC * PANEL.dry_mass_kg

pieces = st.builds(
    DryingPiece,
    dry_mass_kg=st.floats(0.1, 50),
    open_area_m2=st.floats(0.05, 5),
    thickness_m=st.floats(0.001, 0.1),
    open_faces=st.sampled_from([1, 2]),
    fibre_saturation=st.floats(0.2, 0.4),
    diffusivity_m2_s=st.floats(1e-12, 1e-9),
)


# --- equilibrium -----------------------------------------------------------------------------


def test_wood_holds_nothing_in_dry_air_and_more_in_damper_and_cooler_air() -> None:
    assert drying.wood_emc(20, 0) == 0
    assert (np.diff(drying.wood_emc(20, np.linspace(0, 1, 101))) > 0).all()
    # Below about 2 °C the published quadratics turn over, by less than 0.0001.
    assert (np.diff(drying.wood_emc(np.linspace(3, 60, 58), 0.5)) < 0).all()


def test_gab_passes_through_its_monolayer_and_rises() -> None:
    isotherm = GabIsotherm(monolayer=0.05, c=15, k=0.78)
    # At a = 1 / (K (1 + sqrt C)) the isotherm of Guggenheim, Anderson and de Boer equals M0.
    at_monolayer = 1 / (0.78 * (1 + math.sqrt(15)))
    assert isotherm.moisture(at_monolayer) == pytest.approx(0.05)
    assert isotherm.moisture(0) == 0
    assert isotherm.moisture(0.5) == pytest.approx(0.0743, abs=5e-4)
    assert (np.diff(isotherm.moisture(np.linspace(0, 1, 50))) > 0).all()


@pytest.mark.parametrize("material", drying.SorbingMaterial)
def test_default_isotherms_are_plausible_at_half_humidity(
    material: drying.SorbingMaterial,
) -> None:
    assert 0.04 < float(drying.GAB_DEFAULTS[material].moisture(0.5)) < 0.16


@pytest.mark.parametrize("fibre", drying.Fibre)
def test_regain_is_a_fraction(fibre: drying.Fibre) -> None:
    assert 0.08 < drying.commercial_regain(fibre) < 0.15


# --- evaporation -----------------------------------------------------------------------------


def test_evaporation_grows_with_drier_and_faster_air_and_ends_at_saturation() -> None:
    by_rh = drying.evaporation_flux_kg_m2_h(20, np.linspace(0.05, 1, 20), 0.2)
    assert (np.diff(by_rh) < 0).all()
    assert by_rh[-1] == pytest.approx(0, abs=1e-9)
    by_speed = drying.evaporation_flux_kg_m2_h(20, 0.45, np.linspace(0, 5, 20))
    assert (np.diff(by_speed) > 0).all()


def test_evaporation_stays_between_the_heat_of_the_air_alone_and_with_radiation() -> None:
    # A wet face can evaporate what its heat gain pays for: from the air at least, and at most
    # with radiation from a room at air temperature added (about 5.7 W/(m2 K) at 20 °C).
    t_wb = float(air.wet_bulb(20, 0.45))
    by_air = (5.7 + 3.8 * 0.2) * (20 - t_wb) / 2.47e6 * 3600
    with_radiation = by_air * (5.7 + 3.8 * 0.2 + 5.7) / (5.7 + 3.8 * 0.2)
    assert by_air < float(drying.evaporation_flux_kg_m2_h(20, 0.45, 0.2)) < with_radiation


# --- diffusion -------------------------------------------------------------------------------


def full_series(fo: Values) -> Values:
    odd = np.arange(1, 4000, 2)[:, None]
    return np.asarray((8 / (math.pi * odd) ** 2 * np.exp(-((odd * math.pi) ** 2) * fo)).sum(axis=0))


def test_the_slab_agrees_with_the_full_series() -> None:
    fo = np.geomspace(1e-5, 3, 400)
    np.testing.assert_allclose(drying.slab_unaccomplished(fo), full_series(fo), atol=2e-6, rtol=0)


def test_early_loss_goes_with_the_square_root_of_time() -> None:
    # Bateman, Hohf & Stamm (1939) found so for Sitka spruce; here against the full series.
    fo = np.geomspace(1e-5, 0.02, 50)
    np.testing.assert_allclose(drying.slab_early_loss(fo), 1 - full_series(fo), atol=2e-4)
    assert drying.slab_early_loss(4e-3) == pytest.approx(2 * float(drying.slab_early_loss(1e-3)))


def test_the_slab_matches_a_finite_difference_solution() -> None:
    # An independent numerical solution of Fick's second law on 200 cells, both faces at 0.
    cells, fo_end = 200, 0.1
    dx = 1 / cells
    dt = 0.4 * dx**2
    c = np.ones(cells)
    for _ in range(round(fo_end / dt)):
        padded = np.concatenate([[-c[0]], c, [-c[-1]]])
        c = c + dt / dx**2 * np.diff(padded, 2)
    assert drying.slab_unaccomplished(fo_end) == pytest.approx(c.mean(), abs=1e-4)


@given(st.lists(st.floats(0, 5), min_size=2, max_size=20))
def test_fick_never_gives_water_back(fo: list[float]) -> None:
    left = drying.slab_unaccomplished(sorted(fo))
    assert (np.diff(left) <= 1e-9).all()
    assert ((left >= 0) & (left <= 1)).all()


@given(st.floats(1e-6, 1))
def test_slab_time_is_the_way_back(share: float) -> None:
    assert drying.slab_unaccomplished(drying.slab_time(share)) == pytest.approx(share, abs=2e-6)


def test_a_sealed_face_counts_as_twice_the_thickness() -> None:
    one = drying.fick_number(2e-10, 100, 0.02, 1)
    assert one == pytest.approx(float(drying.fick_number(2e-10, 100, 0.04, 2)))
    assert one == pytest.approx(float(drying.fick_number(2e-10, 100, 0.02, 2)) / 4)


# --- two stages ------------------------------------------------------------------------------


def test_the_estimate_by_hand() -> None:
    flux = float(drying.evaporation_flux_kg_m2_h(20, 0.45, 0.2))
    estimate = drying.estimate_drying(PANEL, ROOM, WATER_KG, EMC)
    free_kg, excess = WATER_KG - 0.28 * 2.0, 0.28 * 2.0 - AT_EMC_KG
    assert estimate.likely.free_water_h == pytest.approx(free_kg / (0.5 * flux))
    fo = drying.slab_time(0.01 * 2.0 / excess)
    assert estimate.likely.bound_water_h == pytest.approx(fo * 0.02**2 / 2e-10 / 3600)
    assert estimate.low.bound_water_h == pytest.approx(estimate.likely.bound_water_h / 3)
    assert estimate.high.bound_water_h == pytest.approx(estimate.likely.bound_water_h * 3)
    assert estimate.high.total_h == estimate.high.free_water_h + estimate.high.bound_water_h


def test_a_thin_sheet_is_held_up_by_the_air_not_by_diffusion() -> None:
    sheet = DryingPiece(0.1, 2.0, 0.0002, 2, 0.28, 1e-10)
    flux = float(drying.evaporation_flux_kg_m2_h(20, 0.45, 0.2))
    estimate = drying.estimate_drying(sheet, ROOM, 0.1 * 0.28, 0.07)
    by_air = 0.1 * (0.28 - 0.07 - 0.01) / (2.0 * flux)
    assert estimate.low == estimate.likely == estimate.high
    assert estimate.likely.bound_water_h == pytest.approx(by_air)


def test_a_piece_at_or_below_equilibrium_needs_no_time_and_gains_nothing() -> None:
    for water in (0.0, AT_EMC_KG / 2, AT_EMC_KG + 0.01):
        estimate = drying.estimate_drying(PANEL, ROOM, water, EMC)
        assert estimate.high.total_h == 0
    assert drying.water_left_kg(PANEL, ROOM, 0.05, EMC, [0, 1000]) == pytest.approx([0.05, 0.05])


@given(pieces, st.floats(0.1, 3))
def test_water_only_falls_and_ends_at_equilibrium(piece: DryingPiece, share: float) -> None:
    water = share * piece.dry_mass_kg
    left = drying.water_left_kg(piece, ROOM, water, 0.09, np.linspace(0, 1e6, 300))
    assert left[0] == pytest.approx(water)
    assert (np.diff(left) <= 1e-9 * piece.dry_mass_kg).all()
    assert left[-1] >= min(water, 0.09 * piece.dry_mass_kg) - 1e-9


@given(pieces, st.floats(0.3, 3))
def test_a_piece_is_within_the_margin_exactly_when_the_estimate_says(
    piece: DryingPiece, share: float
) -> None:
    water = share * piece.dry_mass_kg
    done_h = drying.estimate_drying(piece, ROOM, water, 0.09).likely.total_h
    target = (0.09 + drying.DRY_WITHIN) * piece.dry_mass_kg
    if done_h < 9e5:
        left = float(drying.water_left_kg(piece, ROOM, water, 0.09, done_h))
        assert left == pytest.approx(target, rel=1e-4)


@given(pieces, st.floats(0.1, 3), st.integers(1, 200))
def test_hourly_release_adds_up_and_never_beats_the_wet_surface(
    piece: DryingPiece, share: float, hours: int
) -> None:
    water = share * piece.dry_mass_kg
    release = drying.moisture_release_kg_h(piece, ROOM, water, 0.09, hours)
    left = float(drying.water_left_kg(piece, ROOM, water, 0.09, hours))
    wet = float(drying.evaporation_flux_kg_m2_h(20, 0.45, 0.2)) * piece.open_area_m2
    assert release.shape == (hours,)
    assert release.sum() == pytest.approx(water - left, abs=1e-9 * piece.dry_mass_kg)
    assert (release <= wet * (1 + 1e-6) + 2e-6 * piece.dry_mass_kg).all()


def test_more_diffusivity_or_open_faces_never_dry_slower() -> None:
    base = drying.estimate_drying(PANEL, ROOM, WATER_KG, EMC).likely.total_h
    sealed = replace(PANEL, open_faces=1)
    assert drying.estimate_drying(sealed, ROOM, WATER_KG, EMC).likely.total_h > base
    looser = replace(PANEL, diffusivity_m2_s=4e-10)
    assert drying.estimate_drying(looser, ROOM, WATER_KG, EMC).likely.total_h < base


def test_a_capped_step_slows_the_first_stage_to_the_capped_humidity() -> None:
    tented = replace(PANEL, max_rh_step=0.25)
    damp = DryingAir(20, 0.75, 0.2)
    capped = drying.estimate_drying(tented, ROOM, WATER_KG, EMC).likely
    assert (
        capped.free_water_h
        == drying.estimate_drying(PANEL, damp, WATER_KG, EMC).likely.free_water_h
    )
    assert replace(tented, max_rh_step=0.55).max_rh_step == 0.55
    assert drying.estimate_drying(
        replace(PANEL, max_rh_step=0.6), ROOM, WATER_KG, EMC
    ) == drying.estimate_drying(PANEL, ROOM, WATER_KG, EMC)


# --- refit -----------------------------------------------------------------------------------


def weigh(piece: DryingPiece, hours: list[float], noise: Values | float = 0.0) -> list[Weighing]:
    left = drying.water_left_kg(piece, ROOM, WATER_KG, EMC, hours)
    masses = piece.dry_mass_kg + left + noise
    return [Weighing(h + 7, float(m)) for h, m in zip(hours, masses, strict=True)]


refit = partial(drying.refit_drying, PANEL, ROOM, EMC, scale_error_kg=0.005)
SCHEDULE = [0.0, 12, 24, 48, 72, 96]


def test_one_weighing_teaches_nothing_but_the_start() -> None:
    result = refit(weigh(PANEL, [0.0]))
    assert result.rate_factor.likely == pytest.approx(1, rel=0.01)
    assert result.diffusivity_m2_s.likely == pytest.approx(2e-10, rel=0.01)
    assert result.diffusivity_m2_s.low == pytest.approx(2e-10 / 3, rel=0.03)
    assert result.diffusivity_m2_s.high == pytest.approx(2e-10 * 3, rel=0.03)
    assert result.rate_factor.high == pytest.approx(1.5, rel=0.03)
    assert (result.weighings_used, result.residual_kg, result.disbelieved) == (1, 0, 1)
    assert not result.gained_water
    assert not result.outside_expectation


@pytest.mark.parametrize("factor", [0.4, 1.0, 2.5])
def test_weighings_recover_the_diffusivity_and_narrow_the_band(factor: float) -> None:
    truth = replace(PANEL, diffusivity_m2_s=2e-10 * factor)
    result = refit(weigh(truth, SCHEDULE))
    true_h = drying.estimate_drying(truth, ROOM, WATER_KG, EMC).likely.total_h
    assert result.total_h.low < true_h < result.total_h.high
    assert result.diffusivity_m2_s.likely == pytest.approx(2e-10 * factor, rel=0.15)
    prior = refit(weigh(PANEL, [0.0])).total_h
    assert result.total_h.high / result.total_h.low < 0.5 * prior.high / prior.low
    assert not result.outside_expectation


def test_more_weighings_never_widen_what_noise_free_data_say() -> None:
    widths = []
    for count in (1, 3, 6):
        interval = refit(weigh(PANEL, SCHEDULE[:count])).total_h
        widths.append(interval.high / interval.low)
    assert all(later < earlier for earlier, later in pairwise(widths))


def test_the_interval_holds_the_truth_about_as_often_as_it_says() -> None:
    random = np.random.default_rng(20)
    held = 0
    for _ in range(40):
        ln_d, ln_rate = random.normal(0, [math.log(3) / 1.645, math.log(1.5) / 1.645])
        truth = replace(
            PANEL,
            diffusivity_m2_s=2e-10 * math.exp(ln_d),
            open_area_m2=0.5 * math.exp(ln_rate),
        )
        weighings = weigh(truth, SCHEDULE[:4], random.normal(0, 0.02, 4))
        interval = refit(weighings, scale_error_kg=0.02).total_h
        start = weighings[0].mass_kg - 2.0
        true_h = drying.estimate_drying(truth, ROOM, start, EMC).likely.total_h
        held += interval.low <= true_h <= interval.high
    assert held >= 33


def test_scatter_worse_than_the_scale_is_not_believed() -> None:
    # ±0.15 kg of alternating error, where the scale claims 5 g.
    noise = np.array([0.0, 0.15, -0.15, 0.15, -0.15, 0.15])
    wild, clean = refit(weigh(PANEL, SCHEDULE, noise)), refit(weigh(PANEL, SCHEDULE))
    assert wild.disbelieved > 2
    assert wild.residual_kg > 0.1
    assert wild.total_h.high / wild.total_h.low > clean.total_h.high / clean.total_h.low
    assert wild.gained_water
    assert not clean.gained_water


def test_a_piece_unlike_its_description_is_flagged() -> None:
    truth = replace(PANEL, diffusivity_m2_s=2e-10 / 30)
    assert refit(weigh(truth, [0.0, 24, 48, 96, 200, 400])).outside_expectation


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=6))
def test_any_weighings_give_ordered_intervals(shares: list[float]) -> None:
    weighings = [Weighing(10.0 * i, 2.0 + share) for i, share in enumerate(shares)]
    result = refit(weighings)
    for interval in (result.diffusivity_m2_s, result.rate_factor, result.total_h):
        assert 0 <= interval.low <= interval.likely <= interval.high < math.inf


# --- dryness ---------------------------------------------------------------------------------


def test_dry_needs_all_three_signs() -> None:
    dry = partial(drying.judge_dryness, emc=0.09, mass_a_day_before_kg=2.2)
    assert dry(0.0999, mass_kg=2.195, rh_surface=0.64).is_dry
    assert not dry(0.101, mass_kg=2.195, rh_surface=0.64).near_equilibrium
    assert not dry(0.0999, mass_kg=2.188, rh_surface=0.64).steady_for_a_day
    assert not dry(0.0999, mass_kg=2.212, rh_surface=0.64).steady_for_a_day
    assert not dry(0.0999, mass_kg=2.195, rh_surface=0.65).surface_dry
    assert not dry(0.0999, mass_kg=2.195, rh_surface=0.65).is_dry
    assert dry(0.02, mass_kg=2.2, rh_surface=0.3).is_dry


@pytest.mark.parametrize(
    ("call", "names"),
    [
        (partial(drying.wood_emc, 68, 0.5), "air temperature: 68.0"),
        (partial(drying.wood_emc, 20, 50), "relative humidity: 50.0"),
        (partial(GabIsotherm, 5.0, 15, 0.78), "GAB monolayer moisture: 5.0"),
        (partial(GabIsotherm, 0.05, 0, 0.78), "GAB constant C: 0.0"),
        (partial(GabIsotherm, 0.05, 15, 1.0), "GAB constant K: 1.0"),
        (partial(drying.evaporation_flux_kg_m2_h, 20, 0.5, 6), "air speed at the face: 6.0"),
        (partial(drying.fick_number, 0, 1, 0.02, 2), "diffusivity: 0.0"),
        (partial(drying.fick_number, 1e-10, -1, 0.02, 2), "drying time: -1.0"),
        (partial(drying.fick_number, 1e-10, 1, 0.02, 3), "open faces: 3 is not 1 or 2"),
        (partial(drying.fick_number, 1e-10, 1, 0, 2), "thickness: 0.0"),
        (partial(drying.slab_unaccomplished, -0.1), "dimensionless time: -0.1"),
        (partial(drying.slab_early_loss, 0.03), "dimensionless time: 0.03"),
        (partial(drying.slab_time, 0), "share still to lose: 0.0"),
        (partial(DryingAir, 20, 0.98, 0.2), "relative humidity of the drying air: 0.98"),
        (partial(DryingAir, math.nan, 0.5, 0.2), "air temperature: nan"),
        (partial(replace, PANEL, dry_mass_kg=0), "dry mass: 0.0"),
        (partial(replace, PANEL, open_area_m2=-1), "open area: -1.0"),
        (partial(replace, PANEL, fibre_saturation=28), "fibre saturation: 28.0"),
        (partial(replace, PANEL, diffusivity_m2_s=math.inf), "diffusivity: inf"),
        (partial(replace, PANEL, max_rh_step=0), "largest RH step: 0.0"),
        (partial(drying.estimate_drying, PANEL, ROOM, -1, EMC), "water in the piece: -1.0"),
        (partial(drying.estimate_drying, PANEL, ROOM, 1, 9), "equilibrium moisture content: 9.0"),
        (partial(drying.estimate_drying, PANEL, ROOM, 1, EMC, 0), "margin to equilibrium: 0.0"),
        (partial(drying.moisture_release_kg_h, PANEL, ROOM, 1, EMC, 0), "hours of drying: 0.0"),
        (partial(refit, []), "hour of a weighing: an empty series"),
        (partial(refit, [Weighing(0, 1.9)]), "weighed mass: 1.9"),
        (partial(refit, [Weighing(1, 3), Weighing(1, 2.9)]), "in strictly increasing order"),
        (partial(refit, [Weighing(0, 3)], scale_error_kg=0), "scale error: 0.0"),
        (partial(drying.judge_dryness, 0.1, 0.09, 0, 2, 0.5), "mass: 0.0"),
        (partial(drying.judge_dryness, 0.1, 0.09, 2, 2, 50), "surface relative humidity: 50.0"),
    ],
)
def test_hostile_input_is_named(call: Callable[[], object], names: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        call()
    assert names in str(caught.value)
