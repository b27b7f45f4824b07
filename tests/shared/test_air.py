import math
from collections.abc import Callable
from functools import partial

import numpy as np
import psychrolib
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shared import air
from shared.quantities import OutOfRange, Values

psychrolib.SetUnitSystem(psychrolib.SI)

temperatures = st.floats(-20, 60)
humidities = st.floats(0.001, 1)
pressures = st.floats(60_000, 120_000)

GRID_T = np.arange(-20, 60.1, 2.5)
GRID_RH = np.array([0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0])
GRID_P = np.array([25_000.0, 60_000.0, 84_556.0, 101_325.0, 120_000.0, 500_000.0])
GRID = tuple(axis.ravel() for axis in np.meshgrid(GRID_T, GRID_RH, GRID_P, indexing="ij"))


def reference(formula: Callable[[float, float, float], float]) -> Values:
    return np.array(
        [formula(float(t), float(rh), float(p)) for t, rh, p in zip(*GRID, strict=True)]
    )


def humidity_ratio(t: float, rh: float, p: float) -> float:
    return float(psychrolib.GetHumRatioFromRelHum(t, rh, p))


class TestAgainstPsychroLib:
    """Over a grid of -20 to 60 °C, 2 to 100 % RH, 25 to 500 kPa: PsychroLib 2.5.0."""

    def test_saturation_vapour_pressure(self) -> None:
        expected = [psychrolib.GetSatVapPres(float(t)) for t in GRID_T]
        np.testing.assert_allclose(air.saturation_vapour_pressure(GRID_T), expected, rtol=1e-6)

    def test_vapour_pressure(self) -> None:
        expected = reference(lambda t, rh, p: psychrolib.GetVapPresFromRelHum(t, rh))
        np.testing.assert_allclose(air.vapour_pressure(*GRID[:2]), expected, rtol=1e-6)

    def test_humidity_ratio(self) -> None:
        np.testing.assert_allclose(air.humidity_ratio(*GRID), reference(humidity_ratio), rtol=1e-6)

    def test_specific_volume(self) -> None:
        expected = reference(
            lambda t, rh, p: psychrolib.GetMoistAirVolume(t, humidity_ratio(t, rh, p), p)
        )
        np.testing.assert_allclose(air.specific_volume(*GRID), expected, rtol=1e-5)

    def test_enthalpy(self) -> None:
        expected = reference(
            lambda t, rh, p: psychrolib.GetMoistAirEnthalpy(t, humidity_ratio(t, rh, p))
        )
        np.testing.assert_allclose(air.enthalpy_j_kg(*GRID), expected, rtol=1e-6, atol=0.01)

    def test_dew_point(self) -> None:
        expected = reference(lambda t, rh, p: psychrolib.GetTDewPointFromRelHum(t, rh))
        np.testing.assert_allclose(air.dew_point(*GRID[:2]), expected, rtol=0, atol=0.002)

    def test_wet_bulb(self) -> None:
        expected = reference(psychrolib.GetTWetBulbFromRelHum)
        np.testing.assert_allclose(air.wet_bulb(*GRID), expected, rtol=0, atol=0.002)

    def test_frost_point(self) -> None:
        expected = reference(lambda t, rh, p: psychrolib.GetTDewPointFromRelHum(t, rh))
        frost = air.frost_point(*GRID[:2])
        frozen = expected < air.TRIPLE_POINT_C
        np.testing.assert_allclose(frost[frozen], expected[frozen], rtol=0, atol=0.002)
        assert np.isnan(frost[expected > air.TRIPLE_POINT_C + 0.002]).all()

    def test_humidity_from_dew_point(self) -> None:
        t_c, t_dp_c = (axis.ravel() for axis in np.meshgrid(GRID_T, np.arange(-40, 60, 2.5)))
        possible = t_dp_c <= t_c
        pairs = list(zip(t_c[possible], t_dp_c[possible], strict=True))
        expected = [psychrolib.GetRelHumFromTDewPoint(float(t), float(dp)) for t, dp in pairs]
        found = air.rh_from_dew_point(t_c[possible], t_dp_c[possible])
        np.testing.assert_allclose(found, expected, rtol=1e-5)

    def test_humidity_from_wet_bulb(self) -> None:
        t_c, drop, p_pa = (
            axis.ravel() for axis in np.meshgrid(GRID_T, [0.0, 1.0, 3.0, 8.0, 15.0], GRID_P)
        )
        t_wb = t_c - drop
        # PsychroLib gives a negative ratio, or its own floor, for bulbs drier than bone-dry air.
        with np.errstate(invalid="ignore"):
            ratio = np.array(
                [
                    psychrolib.GetHumRatioFromTWetBulb(float(t), float(wb), float(p))
                    for t, wb, p in zip(t_c, t_wb, p_pa, strict=True)
                ]
            )
        possible = (t_wb >= -20) & (ratio > 2e-7)
        points = list(zip(t_c[possible], t_wb[possible], p_pa[possible], strict=True))
        assert len(points) > 400
        expected = [
            psychrolib.GetRelHumFromTWetBulb(float(t), float(wb), float(p)) for t, wb, p in points
        ]
        found = air.rh_from_wet_bulb(t_c[possible], t_wb[possible], p_pa[possible])
        np.testing.assert_allclose(found, expected, rtol=1e-3, atol=1e-6)

    def test_moisture_and_heat_that_outside_air_brings(self) -> None:
        room = (
            humidity_ratio(20, 0.5, 101_325),
            psychrolib.GetMoistAirEnthalpy(20, humidity_ratio(20, 0.5, 101_325)),
        )
        at_sea_level = GRID[2] == 101_325
        outside = [axis[at_sea_level] for axis in GRID]

        def load(t: float, rh: float, p: float) -> tuple[float, float]:
            ratio = humidity_ratio(t, rh, p)
            dry_kg_h = 300 / psychrolib.GetMoistAirVolume(t, ratio, p)
            heat_j_h = dry_kg_h * (psychrolib.GetMoistAirEnthalpy(t, ratio) - room[1])
            return dry_kg_h * (ratio - room[0]), heat_j_h / 3600

        expected = np.array([load(*map(float, point)) for point in zip(*outside, strict=True)]).T
        where = {
            "t_outside_c": outside[0],
            "rh_outside": outside[1],
            "t_room_c": 20,
            "rh_room": 0.5,
        }
        moisture = air.outside_air_moisture_kg_h(300, **where)
        heat = air.outside_air_heat_w(300, **where)
        np.testing.assert_allclose(moisture, expected[0], rtol=1e-3, atol=1e-3)
        np.testing.assert_allclose(heat, expected[1], rtol=1e-3, atol=1)

    def test_vapour_density_and_surface_humidity(self) -> None:
        pressures = [psychrolib.GetVapPresFromRelHum(float(t), 0.6) for t in GRID_T]
        # Vapour as an ideal gas: p M / (R T), with M 18.015268 g/mol and R 8.314462618 J/(mol K).
        expected = [
            p * 0.018015268 / (8.314462618 * (float(t) + 273.15))
            for p, t in zip(pressures, GRID_T, strict=True)
        ]
        np.testing.assert_allclose(air.vapour_density_kg_m3(GRID_T, 0.6), expected, rtol=1e-3)
        wall = np.maximum(GRID_T - 4, -20)
        at_wall = [psychrolib.GetSatVapPres(float(t)) for t in wall]
        damp = np.minimum(np.array(pressures) / at_wall, 1)
        np.testing.assert_allclose(air.surface_rh(GRID_T, 0.6, wall), damp, rtol=1e-5)

    def test_standard_pressure(self) -> None:
        heights = np.arange(-500, 11_000, 500)
        expected = [psychrolib.GetStandardAtmPressure(float(z)) for z in heights]
        np.testing.assert_allclose(air.standard_pressure(heights), expected, rtol=1e-6)


@given(temperatures, st.floats(0.001, 1))
def test_humidity_from_dew_point_is_the_way_back(t_c: float, rh: float) -> None:
    assert air.rh_from_dew_point(t_c, air.dew_point(t_c, rh)) == pytest.approx(rh, rel=1e-6)


@given(temperatures, humidities, pressures)
def test_humidity_from_wet_bulb_is_the_way_back(t_c: float, rh: float, p_pa: float) -> None:
    wet = float(air.wet_bulb(t_c, rh, p_pa))
    # Around 0 °C a wick may be wet or iced, so two humidities share one wet bulb.
    assume(abs(wet) > 0.5 and wet > -20)
    assert air.rh_from_wet_bulb(t_c, wet, p_pa) == pytest.approx(rh, abs=1e-6)


@given(temperatures, st.floats(0.01, 1), pressures)
def test_dew_point_wet_bulb_and_dry_bulb_come_in_order(t_c: float, rh: float, p_pa: float) -> None:
    dew, wet = float(air.dew_point(t_c, rh)), float(air.wet_bulb(t_c, rh, p_pa))
    assert dew <= wet + 1e-9 <= t_c + 2e-9


@given(temperatures, humidities)
def test_frost_point_is_the_dew_point_below_freezing_only(t_c: float, rh: float) -> None:
    dew, frost = float(air.dew_point(t_c, rh)), float(air.frost_point(t_c, rh))
    if dew <= air.TRIPLE_POINT_C:
        assert frost == dew
    else:
        assert math.isnan(frost)


@given(temperatures, humidities)
def test_a_surface_at_air_temperature_sees_the_air_s_humidity(t_c: float, rh: float) -> None:
    assert air.surface_rh(t_c, rh, t_c) == pytest.approx(rh)


@given(temperatures, st.floats(0.05, 0.99), st.floats(0.01, 20))
def test_a_colder_surface_is_damper_until_water_condenses(
    t_c: float, rh: float, colder: float
) -> None:
    assume(t_c - colder >= -20)
    damp = float(air.surface_rh(t_c, rh, t_c - colder))
    assert rh < damp <= 1
    assert bool(air.condenses(t_c, rh, t_c - colder)) == (t_c - colder < air.dew_point(t_c, rh))


def test_absolute_humidity_is_vapour_density_in_grams() -> None:
    assert air.absolute_humidity_g_m3(20, 0.5) == pytest.approx(
        1000 * air.vapour_density_kg_m3(20, 0.5)
    )


def test_formulas_broadcast() -> None:
    t_c, rh = np.array([[10.0], [20.0]]), np.array([0.3, 0.5, 0.7])
    for formula in (air.dew_point, air.wet_bulb, air.humidity_ratio, air.enthalpy_j_kg):
        grid = formula(t_c, rh)
        assert grid.shape == (2, 3)
        assert grid[1, 2] == pytest.approx(float(formula(20.0, 0.7)))


def test_a_dehumidifier_that_changes_nothing_removes_nothing() -> None:
    removed = air.moisture_removal_kg_h(500, t_in_c=20, rh_in=0.5, t_out_c=20, rh_out=0.5)
    assert removed == 0


def test_summer_air_wets_and_warms_a_room_and_winter_air_dries_and_cools_it() -> None:
    room = {"t_room_c": 20.0, "rh_room": 0.5}
    summer = {"t_outside_c": 30.0, "rh_outside": 0.7}
    winter = {"t_outside_c": -5.0, "rh_outside": 0.9}
    assert air.outside_air_moisture_kg_h(100, **summer, **room) > 0
    assert air.outside_air_moisture_kg_h(100, **winter, **room) < 0
    assert air.outside_air_heat_w(100, **summer, **room) > 0
    assert air.outside_air_heat_w(100, **winter, **room) < 0


def test_outside_air_load_by_hand() -> None:
    # 100 m3/h of air at 30 °C and 50 % is 114.5 kg/h dry; ratios and enthalpies by PsychroLib.
    w_out, w_in = humidity_ratio(30, 0.5, 101_325), humidity_ratio(20, 0.5, 101_325)
    dry_kg_h = 100 / psychrolib.GetMoistAirVolume(30, w_out, 101_325)
    gained = psychrolib.GetMoistAirEnthalpy(30, w_out) - psychrolib.GetMoistAirEnthalpy(20, w_in)
    load = {"t_outside_c": 30, "rh_outside": 0.5, "t_room_c": 20, "rh_room": 0.5}
    assert air.outside_air_moisture_kg_h(100, **load) == pytest.approx(
        dry_kg_h * (w_out - w_in), rel=1e-4
    )
    assert air.outside_air_heat_w(100, **load) == pytest.approx(dry_kg_h * gained / 3600, rel=1e-4)


@pytest.mark.parametrize(
    ("call", "names"),
    [
        (partial(air.humidity_ratio, math.nan, 0.5), "air temperature: nan"),
        (partial(air.humidity_ratio, 20, 50), "relative humidity: 50.0"),
        (partial(air.humidity_ratio, 20, -0.1), "relative humidity: -0.1"),
        (partial(air.humidity_ratio, 20, 0.5, 0), "air pressure: 0.0"),
        (partial(air.wet_bulb, 68, 0.5), "air temperature: 68.0"),
        (partial(air.dew_point, 20, 0), "relative humidity: 0.0"),
        (partial(air.dew_point, [], []), "air temperature: an empty series"),
        (partial(air.rh_from_wet_bulb, 20, 21), "dry bulb less wet bulb: -1.0"),
        (partial(air.rh_from_wet_bulb, 40, 5), "humidity ratio from the wet bulb"),
        (partial(air.rh_from_dew_point, 20, 20.5), "air temperature less dew point: -0.5"),
        (partial(air.surface_rh, 20, 0.5, math.inf), "surface: inf"),
        (partial(air.standard_pressure, 20_000), "altitude: 20000.0"),
        (
            partial(air.moisture_removal_kg_h, -5, t_in_c=20, rh_in=0.5, t_out_c=15, rh_out=0.5),
            "air flow: -5.0",
        ),
    ],
)
def test_hostile_input_is_named(call: Callable[[], Values], names: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        call()
    assert names in str(caught.value)
