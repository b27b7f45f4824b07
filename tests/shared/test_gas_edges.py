"""Gas at its edges: the range of every argument, and figures worked by hand."""

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import pytest

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
from tests.shared.bounds import CELSIUS, FRACTION, Bound

AIRED = {"air_changes_per_h": 6.0, "mixing_factor": 3.0}
SOME = Rebound(ppm=10, half_life_h=2)

charge = partial(
    gas.charge_mass_g,
    chamber_m3=20,
    solids_m3=0,
    signed_ppm=1000,
    molar_mass_g_mol=67.45,
    t_c=25,
    p_pa=101_325,
)
airing = partial(gas.airing_time_h, 20, 1, **AIRED)
aired = partial(gas.aired_ppm, 20, SOME, 1, **AIRED)
from_hold = partial(Rebound.from_hold, ppm_closed=5, ppm_later=10, hours=1, half_life_h=2)

PPM = "a number from 0 to 1e+06 ppm"
PPM_ABOVE = "a number above 0 to 1e+06 ppm"
ORIGIN = "a number from -1e+07 to 1e+07 h"

BOUNDS = [
    Bound(
        lambda x: charge(chamber_m3=x), "chamber volume", 0, 1e5, "a number above 0 to 100000 m3"
    ),
    Bound(lambda x: charge(solids_m3=x), "volume of solids", 0, 20, "a number from 0 to 20 m3"),
    Bound(lambda x: charge(signed_ppm=x), "signed concentration", 0, 1e6, PPM_ABOVE),
    Bound(lambda x: GasReading(x, 1), "hour of a reading", -1e7, 1e7, ORIGIN),
    Bound(lambda x: GasReading(0, x), "gas reading", 0, 1e6, PPM),
    Bound(
        lambda x: GasReading(0, 1, x),
        "chamber temperature",
        -40,
        80,
        "a number from -40 to 80 °C",
        CELSIUS,
    ),
    Bound(
        lambda x: GasReading(0, 1, None, x),
        "chamber relative humidity",
        0,
        1,
        "a number from 0 to 1",
        FRACTION,
    ),
    Bound(DoseWindow, "longest gap", 0, 48, "a number above 0 to 48 h"),
    Bound(lambda x: DoseWindow(1, x), "least concentration", 0, 1e6, PPM),
    *(
        Bound(
            call,
            f"{which} temperature of the window",
            -40,
            80,
            "a number from -40 to 80 °C",
            CELSIUS,
        )
        for which, call in (
            ("lowest", lambda x: DoseWindow(1, t_min_c=x)),
            ("highest", lambda x: DoseWindow(1, t_max_c=x)),
        )
    ),
    *(
        Bound(
            call,
            f"{which} relative humidity of the window",
            0,
            1,
            "a number from 0 to 1",
            FRACTION,
        )
        for which, call in (
            ("lowest", lambda x: DoseWindow(1, rh_min=x)),
            ("highest", lambda x: DoseWindow(1, rh_max=x)),
        )
    ),
    Bound(lambda x: gas.exposure_ppm_h(x, 1, 1), "gas reading", 0, 1e6, PPM),
    Bound(lambda x: gas.exposure_ppm_h(1, x, 1), "gas reading", 0, 1e6, PPM),
    Bound(
        lambda x: gas.exposure_ppm_h(1, 1, x),
        "time between readings",
        0,
        1e6,
        "a number from 0 to 1e+06 h",
    ),
    Bound(lambda x: gas.highest_since({}, x), "hour of clearance", -1e7, 1e7, ORIGIN),
    Bound(gas.half_loss_time_h, "loss rate", 0, 1e4, "a number above 0 to 10000 per h"),
    Bound(
        lambda x: gas.concentration_after(x, 1, 1),
        "concentration",
        0,
        1e9,
        "a number from 0 to 1e+09",
    ),
    Bound(
        lambda x: gas.concentration_after(1, x, 1),
        "half-loss time",
        0,
        1e6,
        "a number above 0 to 1e+06 h",
    ),
    Bound(lambda x: gas.concentration_after(1, 1, x), "time", 0, 1e6, "a number from 0 to 1e+06 h"),
    Bound(lambda x: gas.airing_time_h(x, 1, **AIRED), "concentration", 0, 1e6, PPM),
    Bound(lambda x: gas.airing_time_h(1, x, **AIRED), "concentration to reach", 0, 1e6, PPM_ABOVE),
    Bound(
        lambda x: airing(air_changes_per_h=x),
        "air changes",
        0,
        1000,
        "a number above 0 to 1000 per h",
    ),
    Bound(lambda x: airing(mixing_factor=x), "mixing factor", 1, 10, "a number from 1 to 10"),
    Bound(
        lambda x: airing(sink_half_life_h=x),
        "half-loss time",
        0,
        1e6,
        "a number above 0 to 1e+06 h",
    ),
    Bound(
        lambda x: gas.removal_time_h(x, **AIRED),
        "removal efficiency",
        0,
        0.999999,
        "a number from 0 to 0.999999",
    ),
    Bound(lambda x: Rebound(x, 1), "rebound", 0, 1e6, PPM),
    Bound(lambda x: Rebound(1, x), "half-life of release", 0, 1e4, "a number above 0 to 10000 h"),
    Bound(
        lambda x: from_hold(ppm_closed=x, ppm_later=1e6, hours=1e4),
        "concentration at closing",
        0,
        1e6,
        PPM,
    ),
    Bound(
        lambda x: from_hold(ppm_later=x, hours=1e4),
        "concentration after the hold",
        5,
        1e6,
        "a number from 5 to 1e+06 ppm",
    ),
    Bound(lambda x: from_hold(hours=x), "time held closed", 0, 1e4, "a number above 0 to 10000 h"),
    Bound(lambda x: gas.held_closed_ppm(x, SOME, 1), "concentration at closing", 0, 1e6, PPM),
    Bound(
        lambda x: gas.held_closed_ppm(1, SOME, x),
        "time held closed",
        0,
        1e4,
        "a number from 0 to 10000 h",
    ),
    Bound(lambda x: gas.aired_ppm(x, SOME, 1, **AIRED), "concentration", 0, 1e6, PPM),
    Bound(
        lambda x: gas.aired_ppm(1, SOME, x, **AIRED),
        "time aired",
        0,
        1e5,
        "a number from 0 to 100000 h",
    ),
    Bound(
        lambda x: aired(air_changes_per_h=x),
        "air changes",
        0,
        1000,
        "a number above 0 to 1000 per h",
    ),
    Bound(lambda x: aired(mixing_factor=x), "mixing factor", 1, 10, "a number from 1 to 10"),
    Bound(lambda x: gas.earliest_check_h(x, 1, SOME, **AIRED), "concentration", 0, 1e6, PPM),
    Bound(lambda x: gas.earliest_check_h(1, x, SOME, **AIRED), "limit", 0, 1e6, PPM_ABOVE),
    Bound(LoadingRule, "largest fill", 0, 1, "a number above 0 to 1"),
    *(
        Bound(
            partial(lambda name, x: LoadingRule(0.5, **{name: x}), name),
            f"loading rule, {name}",
            0,
            5,
            "a number from 0 to 5 m",
        )
        for name in ("between_m", "to_wall_m", "headspace_m", "underfloor_m")
    ),
    Bound(lambda x: Chamber(x, 1, 1), "chamber volume", 0, 1e5, "a number above 0 to 100000 m3"),
    Bound(lambda x: Chamber(1, x, 1), "rail length", 0, 1e4, "a number above 0 to 10000 m"),
    Bound(lambda x: Chamber(1, 1, x), "chamber height", 0, 100, "a number above 0 to 100 m"),
    Bound(lambda x: LoadPiece(x, 1, 1), "piece, width_m", 0, 50, "a number above 0 to 50 m"),
    Bound(lambda x: LoadPiece(1, x, 1), "piece, height_m", 0, 50, "a number above 0 to 50 m"),
    Bound(lambda x: LoadPiece(1, 1, x), "piece, thickness_m", 0, 50, "a number above 0 to 50 m"),
    Bound(
        lambda x: gas.fill_fraction(1, x), "chamber volume", 0, 1e5, "a number above 0 to 100000 m3"
    ),
    Bound(
        lambda x: gas.fill_fraction(x, 1),
        "volume of the load",
        0,
        1e6,
        "a number from 0 to 1e+06 m3",
    ),
]


@pytest.mark.parametrize("bound", BOUNDS, ids=str)
def test_an_argument_keeps_its_range_and_the_error_says_which_range(bound: Bound) -> None:
    bound.assert_kept()


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            partial(gas.sensor_dose, [GasReading(1, 5), GasReading(1, 5)], DoseWindow(1)),
            "hour of a reading: the series is not in strictly increasing order.",
        ),
        (
            partial(gas.sensor_dose, [], DoseWindow(1)),
            "hour of a reading: an empty series is not at least one value.",
        ),
        (
            partial(gas.run_dose, {}, DoseWindow(1)),
            "sensors of the run: none is not at least one.",
        ),
        (
            partial(DoseWindow, 1, t_min_c=30.5, t_max_c=20),
            "temperature window: 30.5 to 20 is not lowest first.",
        ),
        (
            partial(DoseWindow, 1, rh_min=0.8, rh_max=0.6),
            "relative humidity window: 0.8 to 0.6 is not lowest first.",
        ),
        (
            partial(gas.fit_half_loss, [GasReading(0, 4), GasReading(1, 2), GasReading(2, 1)], 1),
            "readings above the detection limit: 2 is not at least 3.",
        ),
        (
            partial(gas.fit_half_loss, [GasReading(0, 4)], -0.5),
            f"detection limit: -0.5 is not {PPM}.",
        ),
        (
            partial(gas.fit_half_loss, [GasReading(0, 4)], 1_000_000.5),
            f"detection limit: 1000000.5 is not {PPM}.",
        ),
        (
            partial(gas.fit_half_loss, [GasReading(1, 4), GasReading(1, 2)], 0),
            "hour of a reading: the series is not in strictly increasing order.",
        ),
    ],
)
def test_a_series_or_a_window_that_makes_no_sense_is_refused_in_words(
    call: Callable[[], object], sentence: str
) -> None:
    with pytest.raises(OutOfRange) as caught:
        call()
    assert str(caught.value) == sentence


# --- charge ----------------------------------------------------------------------------------


def test_the_charge_by_hand() -> None:
    # Chlorine dioxide, 67.45 g/mol, at 25 °C and 101 325 Pa: a mole takes 24.4654 L, so 1000 ppm
    # are 2.75696 g/m3, and 20 m3 of free air hold 55.139 g.
    assert charge() == pytest.approx(55.139, abs=1e-3)


# --- dose ------------------------------------------------------------------------------------


def test_a_window_may_be_a_single_value() -> None:
    point = DoseWindow(1, t_min_c=20, t_max_c=20, rh_min=0.5, rh_max=0.5)
    pair = [GasReading(0, 30, 20, 0.5), GasReading(1, 30, 20, 0.5)]
    assert gas.sensor_dose(pair, point).dose_ppm_h == 30


def test_a_window_without_limits_counts_gas_of_any_concentration() -> None:
    window = DoseWindow(longest_gap_h=1)
    assert window == DoseWindow(1, 0.0, None, None, None, None)
    whiff = [GasReading(0, 0), GasReading(1, 0.5)]
    assert gas.sensor_dose(whiff, window).hours_counted == 1


@pytest.mark.parametrize(
    ("window", "reading", "reason"),
    [
        (DoseWindow(1, t_max_c=30), GasReading(0, 9), NotCounted.TEMPERATURE_UNKNOWN),
        (DoseWindow(1, t_max_c=30), GasReading(0, 9, 31), NotCounted.TEMPERATURE),
        (DoseWindow(1, rh_min=0.5), GasReading(0, 9), NotCounted.HUMIDITY_UNKNOWN),
        (DoseWindow(1, rh_min=0.5), GasReading(0, 9, rh=0.4), NotCounted.HUMIDITY),
        (DoseWindow(1, rh_max=0.5), GasReading(0, 9), NotCounted.HUMIDITY_UNKNOWN),
    ],
)
def test_a_window_open_on_one_side_still_asks_for_its_measurement(
    window: DoseWindow, reading: GasReading, reason: NotCounted
) -> None:
    found = gas.sensor_dose([reading, replace(reading, hour=1)], window)
    assert found.uncounted == (Uncounted(0, 1, reason),)


def test_several_counted_spells_add_up_round_an_uncounted_one() -> None:
    log = [GasReading(h, c) for h, c in [(0, 100), (1, 100), (2, 300), (5, 300), (6, 300)]]
    found = gas.sensor_dose(log, DoseWindow(longest_gap_h=2))
    # 100 + (100 + 300) / 2 + 300; the three hours without a reading count for nothing.
    assert (found.dose_ppm_h, found.hours_counted) == (600, 3)
    assert found.uncounted == (Uncounted(2, 5, NotCounted.GAP),)


def test_of_equally_high_readings_the_latest_speaks_for_the_chamber() -> None:
    log = {
        "door": [GasReading(5, 0.4), GasReading(8, 0.4)],
        "floor": [GasReading(7, 0.4)],
        "vent": [GasReading(4, 9)],
        "fan": [],
    }
    found = gas.highest_since(log, 5)
    assert found == gas.HighestReading("door", GasReading(8, 0.4), ("fan", "vent"))


# --- decay -----------------------------------------------------------------------------------


def test_three_readings_above_the_detection_limit_are_enough() -> None:
    log = [GasReading(0, 8), GasReading(2, 4), GasReading(4, 2), GasReading(6, 1)]
    fit = gas.fit_half_loss(log, 1)
    assert (fit.readings_used, fit.readings_left_out) == (3, 1)
    assert fit.half_loss_h == pytest.approx(2)


def test_the_half_loss_interval_is_open_where_the_gas_may_not_be_falling_at_all() -> None:
    fit = gas.HalfLossFit(0.5, 0.0, 1.0, 3, 0)
    assert fit.half_loss_h == pytest.approx(1.3863, abs=1e-4)  # ln 2 / 0.5
    assert fit.half_loss_low_h == pytest.approx(0.6931, abs=1e-4)
    assert fit.half_loss_high_h == math.inf
    assert gas.HalfLossFit(-0.5, -1.0, -0.1, 3, 0).half_loss_low_h == math.inf


# --- airing ----------------------------------------------------------------------------------


def test_airing_times_by_hand() -> None:
    # K ln(C0/C1) / ACH = 3 ln 20 / 6; a sink of half-life 1 h adds ln 2 to the 6 per hour.
    assert airing() == pytest.approx(1.4979, abs=1e-4)
    assert airing(sink_half_life_h=1) == pytest.approx(1.3428, abs=1e-4)
    assert airing(mixing_factor=1) == pytest.approx(0.4993, abs=1e-4)


def test_gas_held_closed_rises_by_what_its_half_life_lets_out() -> None:
    # Half of 10 ppm in the first two hours, three quarters in four.
    assert gas.held_closed_ppm(1, SOME, 2) == pytest.approx(6)
    assert gas.held_closed_ppm(1, SOME, 4) == pytest.approx(8.5)


def test_a_hold_that_saw_no_rise_leaves_no_rebound() -> None:
    assert from_hold(ppm_closed=5, ppm_later=5) == Rebound(0, 2)


def test_airing_works_against_the_release() -> None:
    # k = 6 / 3 = 2 per h, r = ln 2 / 2 = 0.34657 per h, one hour, 20 ppm in the air, 10 held:
    # 20 exp(-2) = 2.70671; 10 r (exp(-r) - exp(-k)) / (k - r) = 1.19853.
    assert aired() == pytest.approx(2.70671 + 1.19853, abs=1e-4)


@pytest.mark.parametrize("start", [0.0, 1.0])
def test_a_chamber_at_the_limit_may_be_checked_at_once(start: float) -> None:
    nothing = Rebound(0, 1)
    assert gas.earliest_check_h(start, 1, nothing, **AIRED) == 0


@pytest.mark.parametrize(("start", "hours"), [(2.0, 0.34657), (20.0, 1.49787), (1e6, 6.90776)])
def test_the_earliest_check_is_found_to_well_under_a_second(start: float, hours: float) -> None:
    # ln(start) / 2 at two effective air changes an hour, no release.
    found = gas.earliest_check_h(start, 1, Rebound(0, 1), **AIRED)
    assert found == pytest.approx(hours, abs=1e-5)
    assert found == pytest.approx(math.log(start) / 2, abs=1e-12)


# --- loading ---------------------------------------------------------------------------------


def test_a_rule_asks_for_no_spacing_unless_it_says_so() -> None:
    assert LoadingRule(0.5) == LoadingRule(0.5, 0, 0, 0, 0)
    bare = gas.check_load(Chamber(8, 1, 2), [LoadPiece(1, 2, 0.5)] * 2, LoadingRule(0.5))
    assert (bare.rail_needed_m, bare.height_needed_m) == (1, 2)
    assert bare.fill == 0.25
    assert bare.fits


SPACED = LoadingRule(max_fill=0.5, between_m=0.05, to_wall_m=0.1, headspace_m=0.4, underfloor_m=0.1)


def test_an_empty_chamber_still_needs_its_clear_height() -> None:
    assert gas.check_load(Chamber(8, 3, 2), [], SPACED).height_needed_m == pytest.approx(0.5)


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_spacing_is_kept_at_both_walls_and_between_each_two_pieces(count: int) -> None:
    rail = gas.check_load(Chamber(8, 3, 2), [LoadPiece(1, 1, 0.5)] * count, SPACED).rail_needed_m
    by_hand = {0: 0.2, 1: 0.7, 2: 1.25, 3: 1.8}
    assert rail == pytest.approx(by_hand[count])


@pytest.mark.parametrize(
    ("chamber", "piece", "problem"),
    [
        (
            Chamber(2.0, 3, 3),
            LoadPiece(1, 2, 0.5001),
            "fills 50% of the chamber; at most 50% is allowed",
        ),
        (
            Chamber(50, 0.7, 3),
            LoadPiece(1, 2, 0.501),
            "needs 0.70 m of rail with its spacing; there is 0.7 m",
        ),
        (
            Chamber(50, 3, 2.5),
            LoadPiece(1, 2.001, 0.5),
            "needs 2.50 m of height; there is 2.5 m",
        ),
    ],
)
def test_a_load_a_hair_over_one_limit_names_that_limit_only(
    chamber: Chamber, piece: LoadPiece, problem: str
) -> None:
    check = gas.check_load(chamber, [piece], SPACED)
    assert check.problems == (problem,)
    assert not check.fits
