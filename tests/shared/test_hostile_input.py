"""Every formula that takes a quantity refuses what cannot be one, by name and with the range."""

import inspect
import math
from collections.abc import Callable, Iterator
from decimal import Decimal
from types import ModuleType
from typing import Any

import pytest

from shared import air, drying, gas, mould, quantities
from shared.gas import Rebound
from shared.mould import MouldClock, MouldSensitivity
from shared.quantities import LengthUnit, MassUnit, OutOfRange, TemperatureUnit, VolumeUnit

MODULES = (air, drying, gas, mould, quantities)
PINE = mould.vtt_wood()
PANEL = drying.DryingPiece(2.0, 0.5, 0.02, 2, 0.28, 2e-10)
ROOM = drying.DryingAir(20.0, 0.45, 0.2)
SERIES = mould.SurfaceSeries.hourly([20.0, 20.0], [0.9, 0.9])
READINGS = [gas.GasReading(float(hour), 8.0 / 2**hour) for hour in range(3)]
MOIST = {"t_c": 20.0, "rh": 0.5}
OUTSIDE = {"t_outside_c": 30.0, "rh_outside": 0.5, "t_room_c": 20.0, "rh_room": 0.5}
INTO = {"t_in_c": 25.0, "rh_in": 0.6, "t_out_c": 20.0, "rh_out": 0.5}
AIRED = {"air_changes_per_h": 6.0, "mixing_factor": 3.0}
GAS_STATE = {"molar_mass_g_mol": 48.0, "t_c": 25.0, "p_pa": 101_325.0}

# One sound call of each public function; every number in it is then spoilt in turn.
SOUND: dict[Callable[..., object], dict[str, Any]] = {
    air.saturation_vapour_pressure: {"t_c": 20.0},
    air.vapour_pressure: MOIST,
    air.humidity_ratio: {**MOIST, "p_pa": 101_325.0},
    air.dew_point: MOIST,
    air.frost_point: MOIST,
    air.wet_bulb: {**MOIST, "p_pa": 101_325.0},
    air.enthalpy_j_kg: {**MOIST, "p_pa": 101_325.0},
    air.specific_volume: {**MOIST, "p_pa": 101_325.0},
    air.vapour_density_kg_m3: MOIST,
    air.absolute_humidity_g_m3: MOIST,
    air.standard_pressure: {"altitude_m": 100.0},
    air.rh_from_wet_bulb: {"t_c": 20.0, "t_wb_c": 15.0, "p_pa": 101_325.0},
    air.rh_from_dew_point: {"t_c": 20.0, "t_dp_c": 9.0},
    air.surface_rh: {**MOIST, "t_surface_c": 12.0},
    air.condenses: {**MOIST, "t_surface_c": 12.0},
    air.moisture_removal_kg_h: {"flow_m3_h": 500.0, **INTO, "p_pa": 101_325.0},
    air.outside_air_moisture_kg_h: {"flow_m3_h": 100.0, **OUTSIDE, "p_pa": 101_325.0},
    air.outside_air_heat_w: {"flow_m3_h": 100.0, **OUTSIDE, "p_pa": 101_325.0},
    drying.wood_emc: MOIST,
    drying.evaporation_flux_kg_m2_h: {**MOIST, "air_speed_m_s": 0.2, "p_pa": 101_325.0},
    drying.fick_number: {
        "diffusivity_m2_s": 1e-10,
        "hours": 5.0,
        "thickness_m": 0.02,
        "open_faces": 2,
    },
    drying.slab_unaccomplished: {"fo": 0.1},
    drying.slab_early_loss: {"fo": 0.01},
    drying.slab_time: {"unaccomplished": 0.1},
    drying.estimate_drying: {
        "piece": PANEL,
        "drying_air": ROOM,
        "water_kg": 1.0,
        "emc": 0.09,
        "within": 0.01,
    },
    drying.water_left_kg: {
        "piece": PANEL,
        "drying_air": ROOM,
        "water_kg": 1.0,
        "emc": 0.09,
        "hours": 5.0,
    },
    drying.moisture_release_kg_h: {
        "piece": PANEL,
        "drying_air": ROOM,
        "water_kg": 1.0,
        "emc": 0.09,
        "hours": 5,
    },
    drying.refit_drying: {
        "piece": PANEL,
        "drying_air": ROOM,
        "emc": 0.09,
        "weighings": [drying.Weighing(0.0, 3.0)],
        "scale_error_kg": 0.01,
        "within": 0.01,
    },
    drying.judge_dryness: {
        "moisture": 0.1,
        "emc": 0.09,
        "mass_kg": 2.2,
        "mass_a_day_before_kg": 2.2,
        "rh_surface": 0.5,
    },
    gas.charge_mass_g: {
        "chamber_m3": 20.0,
        "solids_m3": 3.0,
        "signed_ppm": 1000.0,
        **GAS_STATE,
    },
    gas.exposure_ppm_h: {"ppm_start": 5.0, "ppm_end": 4.0, "hours": 1.0},
    gas.highest_since: {"readings": {"door": READINGS}, "since_hour": 0.0},
    gas.half_loss_time_h: {"rate_per_h": 0.1},
    gas.concentration_after: {"start": 36.0, "half_loss_h": 10.0, "hours": 24.0},
    gas.exposure_of_decay: {"start": 36.0, "half_loss_h": 10.0, "hours": 24.0},
    gas.fit_half_loss: {"readings": READINGS, "detection_limit_ppm": 0.1},
    gas.airing_time_h: {
        "ppm_start": 20.0,
        "ppm_end": 0.1,
        **AIRED,
        "sink_half_life_h": 0.5,
    },
    gas.removal_time_h: {"efficiency": 0.99, **AIRED},
    gas.held_closed_ppm: {"ppm_closed": 5.0, "rebound": Rebound(1.0, 1.0), "hours": 1.0},
    gas.aired_ppm: {"ppm_start": 5.0, "rebound": Rebound(1.0, 1.0), "hours": 1.0, **AIRED},
    gas.earliest_check_h: {
        "ppm_start": 5.0,
        "limit_ppm": 0.1,
        "rebound": Rebound(1.0, 1.0),
        **AIRED,
    },
    gas.fill_fraction: {"envelopes_m3": 5.0, "chamber_m3": 20.0},
    mould.vtt_material: {"sensitivity": MouldSensitivity.SENSITIVE, "decline": 0.5},
    mould.vtt_wood: {"decline": 0.5},
    mould.critical_rh: {"t_c": 20.0, "material": PINE},
    mould.weeks_to_index_1: {"t_c": 20.0, "rh": 0.9, "material": PINE},
    mould.weeks_to_index_3: {"t_c": 20.0, "rh": 0.9, "material": PINE},
    mould.maximum_index: {"t_c": 20.0, "rh": 0.9, "material": PINE},
    mould.saturation_factor: {"index": 1.0, "ceiling": 4.0},
    mould.growth_per_day: {"index": 1.0, "t_c": 20.0, "rh": 0.9, "material": PINE},
    mould.decline_per_day: {"dry_hours": 3.0, "material": PINE},
    mould.forecast_onset_h: {"material": PINE, "t_c": 20.0, "rh": 0.9, "within_h": 24},
    mould.mrd_humidity_dose: {"rh": 0.9},
    mould.mrd_temperature_factor: {"t_c": 20.0},
    mould.mrd_daily_dose: {"t_c": 20.0, "rh": 0.9},
    mould.mrd_dose: {"series": SERIES, "critical_dose_days": 17.0},
    mould.mycelium_growth_mm_day: {"t_c": 20.0, "rh": 0.9},
    mould.mycelium_limit_rh: {"t_c": 20.0},
    mould.annex_14_critical_rh: {"t_c": 20.0},
    mould.precautionary_window_h: {"t_c": 20.0},
    mould.mould_deadline: {"clock": MouldClock(), "t_c": 20.0, "onsets_h": {}},
    quantities.rh_from_percent: {"percent": 55.0},
    quantities.percent_from_rh: {"rh": 0.55},
    quantities.to_metres: {"value": 5.0, "unit": LengthUnit.INCH},
    quantities.from_metres: {"length_m": 0.5, "unit": LengthUnit.INCH},
    quantities.to_kilograms: {"value": 5.0, "unit": MassUnit.POUND},
    quantities.from_kilograms: {"mass_kg": 2.0, "unit": MassUnit.POUND},
    quantities.to_cubic_metres: {"value": 5.0, "unit": VolumeUnit.CUBIC_FOOT},
    quantities.from_cubic_metres: {"volume_m3": 2.0, "unit": VolumeUnit.LITRE},
    quantities.to_celsius: {"value": 68.0, "unit": TemperatureUnit.FAHRENHEIT},
    quantities.from_celsius: {"t_c": 20.0, "unit": TemperatureUnit.FAHRENHEIT},
    quantities.molar_volume_l_mol: {"t_c": 25.0, "p_pa": 101_325.0},
    quantities.mg_m3_from_ppm: {"ppm": 1.0, **GAS_STATE},
    quantities.ppm_from_mg_m3: {"mg_m3": 1.0, **GAS_STATE},
}

# These take no number, only what was checked when it was made, or are the checks themselves.
CHECKED_ELSEWHERE = {
    drying.commercial_regain,
    gas.sensor_dose,
    gas.run_dose,
    gas.check_load,
    mould.vtt_index,
    quantities.require_range,
    quantities.require_number,
    quantities.require_rh,
    quantities.require_temperature_c,
    quantities.require_pressure_pa,
}

# Temperatures at which a gas or a liquid may truly be that hot, so that 68 is no sign of °F.
MAY_BE_HOT = {
    quantities.to_celsius,
    quantities.from_celsius,
    quantities.molar_volume_l_mol,
    quantities.mg_m3_from_ppm,
    quantities.ppm_from_mg_m3,
    gas.charge_mass_g,
}


def public_functions(module: ModuleType) -> Iterator[Callable[..., object]]:
    for name, found in vars(module).items():
        if inspect.isfunction(found) and found.__module__ == module.__name__ and name[0] != "_":
            yield found


def spoilt() -> Iterator[Any]:
    for function, sound in SOUND.items():
        for name, value in sound.items():
            if isinstance(value, int | float):
                for wrong in hostile(function, name):
                    yield pytest.param(
                        function, name, wrong, id=f"{function.__name__}-{name}-{wrong}"
                    )


def hostile(function: Callable[..., object], name: str) -> Iterator[float]:
    yield from (math.nan, math.inf, -math.inf)
    if name == "rh" or name.startswith("rh_"):
        yield from (-0.01, 1.01, 55.0)
    if name == "p_pa":
        yield from (0.0, 1013.25, -101_325.0)
    if name.startswith("t_") and function not in MAY_BE_HOT:
        yield 68.0
    if name.endswith(("_kg", "_m3", "ness_m", "length_m", "ppm", "hours", "_m3_h", "_m2_s")):
        yield -1.0


def test_every_public_function_with_a_quantity_is_tried() -> None:
    public = {function for module in MODULES for function in public_functions(module)}
    assert set(SOUND) | CHECKED_ELSEWHERE == public


@pytest.mark.parametrize("function", SOUND, ids=lambda function: function.__name__)
def test_the_sound_call_is_sound(function: Callable[..., object]) -> None:
    function(**SOUND[function])


@pytest.mark.parametrize(("function", "name", "wrong"), list(spoilt()))
def test_a_spoilt_quantity_is_named_with_its_range(
    function: Callable[..., object], name: str, wrong: float
) -> None:
    with pytest.raises(OutOfRange) as caught:
        function(**{**SOUND[function], name: wrong})
    assert caught.value.quantity.strip()
    assert caught.value.allowed
    assert str(caught.value).startswith(f"{caught.value.quantity}: ")


@pytest.mark.parametrize(
    "function",
    list(public_functions(air)),
    ids=lambda function: function.__name__,
)
def test_an_empty_series_is_named(function: Callable[..., object]) -> None:
    empty: dict[str, Any] = {name: [] for name in SOUND[function]}
    with pytest.raises(OutOfRange, match="an empty series is not at least one value"):
        function(**empty)


@pytest.mark.parametrize("wrong", [Decimal("NaN"), Decimal("Infinity")])
def test_a_decimal_that_is_no_number_is_refused_at_the_edge(wrong: Decimal) -> None:
    with pytest.raises(OutOfRange, match="length"):
        quantities.to_metres(wrong, LengthUnit.INCH)
    with pytest.raises(OutOfRange, match="relative humidity"):
        quantities.rh_from_percent(wrong)
