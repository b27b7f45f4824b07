"""Freezing, saturation, thin air, and what a person reads when a reading cannot be."""

from collections.abc import Callable
from functools import partial

import numpy as np
import psychrolib
import pytest

from shared import air
from shared.quantities import OutOfRange

psychrolib.SetUnitSystem(psychrolib.SI)

DENVER_PA = 84_556.0  # the standard atmosphere at about 1500 m


def refusal(call: Callable[[], object]) -> str:
    with pytest.raises(OutOfRange) as caught:
        call()
    return str(caught.value)


# --- freezing --------------------------------------------------------------------------------


def test_at_the_triple_point_itself_the_pressure_is_taken_over_ice() -> None:
    # PsychroLib does the same; over water the equation reads 6 parts in a thousand million more.
    over_ice = psychrolib.GetSatVapPres(air.TRIPLE_POINT_C)
    assert air.saturation_vapour_pressure(air.TRIPLE_POINT_C) == pytest.approx(over_ice, rel=1e-12)


def test_a_wick_at_exactly_freezing_is_wet_and_just_below_it_is_iced() -> None:
    for t_wb in (0.0, -0.001):
        ratio = psychrolib.GetHumRatioFromTWetBulb(5.0, t_wb, air.STANDARD_PRESSURE_PA)
        rh = psychrolib.GetRelHumFromHumRatio(5.0, ratio, air.STANDARD_PRESSURE_PA)
        assert air.rh_from_wet_bulb(5.0, t_wb) == pytest.approx(rh, rel=1e-5)


# --- saturation ------------------------------------------------------------------------------


def test_equal_bulbs_mean_saturated_air_and_never_more_than_that() -> None:
    t_c = np.arange(-20, 45, 0.5)
    rh = air.rh_from_wet_bulb(t_c, t_c)
    assert rh.max() <= 1
    np.testing.assert_allclose(rh, 1, rtol=1e-12)


def test_saturated_air_does_not_condense_on_what_is_as_warm_as_itself() -> None:
    t_c = np.array([-5.0, 0.0, 20.0, 35.0])
    assert not air.condenses(t_c, 1.0, t_c).any()
    assert air.condenses(t_c, 1.0, t_c - 0.001).all()


# --- vapour per volume -----------------------------------------------------------------------


@pytest.mark.parametrize("t_c", [-10.0, 5.0, 20.0, 35.0])
@pytest.mark.parametrize("rh", [0.2, 0.5, 1.0])
def test_vapour_density_is_the_humidity_ratio_over_the_specific_volume(
    t_c: float, rh: float
) -> None:
    # PsychroLib's ratio and volume are per kilogram of dry air, so their quotient is kg/m3.
    ratio = psychrolib.GetHumRatioFromRelHum(t_c, rh, 101_325)
    density = ratio / psychrolib.GetMoistAirVolume(t_c, ratio, 101_325)
    assert air.vapour_density_kg_m3(t_c, rh) == pytest.approx(density, rel=2e-4)
    assert air.absolute_humidity_g_m3(t_c, rh) == pytest.approx(1000 * density, rel=2e-4)


# --- thin air --------------------------------------------------------------------------------


def test_one_room_at_several_pressures_gives_a_wet_bulb_for_each() -> None:
    pressures = [DENVER_PA, 101_325.0]
    expected = [psychrolib.GetTWetBulbFromRelHum(25.0, 0.4, p) for p in pressures]
    np.testing.assert_allclose(air.wet_bulb(25.0, 0.4, pressures), expected, atol=0.002)


def test_a_dehumidifier_on_high_ground_moves_less_air_that_holds_more_water_a_kilogram() -> None:
    # Room air at 25 °C and 60 %, treated air at 10 °C and 90 %, 300 m3/h: figures by PsychroLib.
    ratio_in = psychrolib.GetHumRatioFromRelHum(25.0, 0.6, DENVER_PA)
    ratio_out = psychrolib.GetHumRatioFromRelHum(10.0, 0.9, DENVER_PA)
    dry_kg_h = 300 / psychrolib.GetMoistAirVolume(25.0, ratio_in, DENVER_PA)
    removed = air.moisture_removal_kg_h(
        300, t_in_c=25, rh_in=0.6, t_out_c=10, rh_out=0.9, p_pa=DENVER_PA
    )
    assert removed == pytest.approx(dry_kg_h * (ratio_in - ratio_out), rel=1e-4)


def test_outside_air_on_high_ground_brings_the_load_of_thin_air() -> None:
    ratio_out = psychrolib.GetHumRatioFromRelHum(30.0, 0.5, DENVER_PA)
    ratio_room = psychrolib.GetHumRatioFromRelHum(20.0, 0.5, DENVER_PA)
    dry_kg_h = 100 / psychrolib.GetMoistAirVolume(30.0, ratio_out, DENVER_PA)
    enthalpies = [
        psychrolib.GetMoistAirEnthalpy(30.0, ratio_out),
        psychrolib.GetMoistAirEnthalpy(20.0, ratio_room),
    ]
    load = {"t_outside_c": 30.0, "rh_outside": 0.5, "t_room_c": 20.0, "rh_room": 0.5}
    assert air.outside_air_moisture_kg_h(100, **load, p_pa=DENVER_PA) == pytest.approx(
        dry_kg_h * (ratio_out - ratio_room), rel=1e-4
    )
    assert air.outside_air_heat_w(100, **load, p_pa=DENVER_PA) == pytest.approx(
        dry_kg_h * (enthalpies[0] - enthalpies[1]) / 3600, rel=1e-4
    )


@pytest.mark.parametrize("flow_m3_h", [0.0, 0.5, 1e6])
def test_any_flow_from_none_at_all_is_taken_and_the_load_goes_with_it(flow_m3_h: float) -> None:
    states = {"t_in_c": 25, "rh_in": 0.6, "t_out_c": 10, "rh_out": 0.9}
    per_m3 = float(air.moisture_removal_kg_h(100, **states)) / 100
    assert air.moisture_removal_kg_h(flow_m3_h, **states) == pytest.approx(flow_m3_h * per_m3)


# --- what is refused -------------------------------------------------------------------------

FAHRENHEIT = " If it was read in °F, convert it first: 68 °F is 20 °C."
STILL = {"t_in_c": 20, "rh_in": 0.5, "t_out_c": 15, "rh_out": 0.5}


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            partial(air.dew_point, 20, 1.01),
            "relative humidity: 1.01 is not a number from 0.0001 to 1."
            " Give a fraction: 55 % is 0.55.",
        ),
        (
            partial(air.standard_pressure, -500.5),
            "altitude: -500.5 is not a number from -500 to 11000 m.",
        ),
        (
            partial(air.standard_pressure, 11_000.5),
            "altitude: 11000.5 is not a number from -500 to 11000 m.",
        ),
        (
            partial(air.rh_from_wet_bulb, 20, 68),
            f"wet-bulb temperature: 68.0 is not a number from -20 to 60 °C.{FAHRENHEIT}",
        ),
        (
            partial(air.rh_from_wet_bulb, 20, 21),
            "dry bulb less wet bulb: -1.0 is not a number from 0 to 80 K.",
        ),
        (
            partial(air.rh_from_dew_point, 20, -100.5),
            f"dew point: -100.5 is not a number from -100 to 60 °C.{FAHRENHEIT}",
        ),
        (
            partial(air.rh_from_dew_point, 20, 20.5),
            "air temperature less dew point: -0.5 is not a number from 0 to 160 K.",
        ),
        (
            partial(air.surface_rh, 20, 0.5, 68),
            f"surface: 68.0 is not a number from -20 to 60 °C.{FAHRENHEIT}",
        ),
        (
            partial(air.condenses, 20, 0.5, 68),
            f"surface: 68.0 is not a number from -20 to 60 °C.{FAHRENHEIT}",
        ),
        (
            partial(air.moisture_removal_kg_h, 1_000_000.5, **STILL),
            "air flow: 1000000.5 is not a number from 0 to 1e+06 m3/h.",
        ),
    ],
)
def test_what_cannot_be_is_refused_by_name_with_the_range_it_must_lie_in(
    call: Callable[[], object], sentence: str
) -> None:
    assert refusal(call) == sentence


def test_a_wet_bulb_colder_than_bone_dry_air_gives_is_refused() -> None:
    told = refusal(partial(air.rh_from_wet_bulb, 40, 5))
    assert told.startswith("humidity ratio from the wet bulb: -0.0")
    assert told.endswith(" is not a number from 0 to 1000 kg/kg.")
