"""Moist air held against CoolProp's real-gas properties, a code base that shares none with ours.

CoolProp 8.0.0, HAPropsSI: Bell et al. (2014), Ind. Eng. Chem. Res. 53:2498-2508, after Herrmann,
Kretzschmar & Gatley (2009), ASHRAE RP-1485. Our relations are ASHRAE's for ideal gases, which
leave out the enhancement factor: they read up to 0.6 % low in humidity ratio to 45 °C, and 0.75 %
at 60 °C, which is hotter than any room or chamber of the trade.
"""

import numpy as np
import pytest
from CoolProp.CoolProp import HAPropsSI

from shared import air
from shared.quantities import ZERO_CELSIUS_K, Values

T_C = np.arange(-20, 60.1, 5.0)
RH = np.array([0.05, 0.2, 0.4, 0.6, 0.8, 0.95])
P_PA = np.array([70_000.0, 84_556.0, 101_325.0, 110_000.0])
GRID = tuple(axis.ravel() for axis in np.meshgrid(T_C, RH, P_PA, indexing="ij"))
HOT = GRID[0] > 45


def real_gas(output: str) -> Values:
    return np.array(
        [
            HAPropsSI(output, "T", float(t) + ZERO_CELSIUS_K, "R", float(rh), "P", float(p))
            for t, rh, p in zip(*GRID, strict=True)
        ]
    )


VAPOUR: dict[str, Values] = {
    "W": air.humidity_ratio(*GRID),
    "P_w": air.vapour_pressure(*GRID[:2]),
}


@pytest.mark.parametrize("output", VAPOUR)
def test_humidity_ratio_and_vapour_pressure_agree_within_six_per_mille(output: str) -> None:
    np.testing.assert_allclose(VAPOUR[output][~HOT], real_gas(output)[~HOT], rtol=6e-3)


@pytest.mark.parametrize("output", VAPOUR)
def test_hot_air_agrees_within_eight_per_mille(output: str) -> None:
    np.testing.assert_allclose(VAPOUR[output][HOT], real_gas(output)[HOT], rtol=8e-3)


def test_volume_agrees_within_one_per_mille() -> None:
    np.testing.assert_allclose(air.specific_volume(*GRID), real_gas("Vda"), rtol=1e-3)


def test_enthalpy_agrees_within_six_per_mille_of_its_distance_from_dry_air_at_0_c() -> None:
    found, expected = air.enthalpy_j_kg(*GRID), real_gas("Hda")
    # Near 0 °C the enthalpy passes through nought, where a share of it says nothing.
    np.testing.assert_allclose(found, expected, rtol=6e-3, atol=200)


@pytest.mark.parametrize(
    ("output", "found"),
    [("D", air.dew_point(*GRID[:2])), ("B", air.wet_bulb(*GRID))],
    ids=["dew point", "wet bulb"],
)
def test_dew_point_and_wet_bulb_agree_within_a_twentieth_of_a_kelvin(
    output: str, found: Values
) -> None:
    np.testing.assert_allclose(found, real_gas(output) - ZERO_CELSIUS_K, rtol=0, atol=0.05)
