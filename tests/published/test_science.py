"""The science held against figures printed elsewhere: one test for each row of checks.csv."""

import importlib
import pkgutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import shared
from shared import air, drying, gas, mould, quantities
from shared.mould import MouldSensitivity
from shared.quantities import FactBook, LengthUnit, TemperatureUnit
from tests.published.rows import CheckRow, load_rows, rows_for

TOPICS = frozenset({"psychro", "emc", "ach", "ct", "ppm", "mould", "drying", "chamber"})

SENSITIVITY = {
    "vs": MouldSensitivity.VERY_SENSITIVE,
    "s": MouldSensitivity.SENSITIVE,
    "mr": MouldSensitivity.MEDIUM_RESISTANT,
    "r": MouldSensitivity.RESISTANT,
}
FIBRES = {fibre.value: fibre for fibre in drying.Fibre}

# --- air -------------------------------------------------------------------------------------


def pressure(row: CheckRow) -> float:
    if "altitude_m" in row.inputs:
        return float(air.standard_pressure(row.number("altitude_m")))
    return row.number("p_pa")


def t_rh(row: CheckRow) -> tuple[float, float]:
    return row.number("t_c"), row.number("rh")


def rh_of_wet_bulb(row: CheckRow) -> float:
    return float(air.rh_from_wet_bulb(row.number("t_c"), row.number("t_wb_c"), pressure(row)))


def saturated_t(row: CheckRow) -> float:
    t_c = np.linspace(0, 40, 40_001)
    enthalpy = air.enthalpy_j_kg(t_c, 1.0, pressure(row))
    return float(np.interp(row.number("h_j_kg"), enthalpy, t_c))


def removal(row: CheckRow) -> float:
    names = ("t_in_c", "rh_in", "t_out_c", "rh_out")
    states = {name: row.number(name) for name in names}
    flow = row.number("flow_m3_h")
    return float(air.moisture_removal_kg_h(flow, **states, p_pa=pressure(row)))


def condition(row: CheckRow) -> tuple[float, float, float]:
    return row.number("t_c"), rh_of_wet_bulb(row), pressure(row)


AIR: dict[str, Callable[[CheckRow], float]] = {
    "humidity_ratio": lambda r: 1000 * float(air.humidity_ratio(*t_rh(r), pressure(r))),
    "dew_point": lambda r: float(air.dew_point(*t_rh(r))),
    "wet_bulb": lambda r: float(air.wet_bulb(*t_rh(r), pressure(r))),
    "sat_vapour_pressure": lambda r: float(air.saturation_vapour_pressure(r.number("t_c"))),
    "enthalpy": lambda r: float(air.enthalpy_j_kg(*t_rh(r), pressure(r))) / 1000,
    "saturated_T_at_enthalpy": saturated_t,
    "specific_volume": lambda r: float(air.specific_volume(*t_rh(r), pressure(r))),
    "absolute_humidity": lambda r: float(air.absolute_humidity_g_m3(*t_rh(r))),
    "standard_pressure": pressure,
    "rel_hum": rh_of_wet_bulb,
    "rel_hum_from_dew_point": lambda r: float(
        air.rh_from_dew_point(r.number("t_c"), r.number("t_dp_c"))
    ),
    "enthalpy_from_wet_bulb": lambda r: float(air.enthalpy_j_kg(*condition(r))) / 1000,
    "specific_volume_from_wet_bulb": lambda r: float(air.specific_volume(*condition(r))),
    "surface_RH": lambda r: float(air.surface_rh(*t_rh(r), r.number("t_surface_c"))),
    "dehumidifier_removal": removal,
}

# --- moisture and drying ---------------------------------------------------------------------


def wood_emc_percent(t_c: float, row: CheckRow) -> float:
    return 100 * float(drying.wood_emc(t_c, row.number("rh_pct") / 100))


def flux_g(row: CheckRow) -> float:
    return 1000 * float(drying.evaporation_flux_kg_m2_h(*t_rh(row), row.number("air_speed_m_s")))


def days_to_a_tenth(row: CheckRow) -> float:
    faces, thickness = int(row.number("faces")), row.number("thickness_mm") / 1000
    per_hour = drying.fick_number(row.number("diffusivity_m2_s"), 1.0, thickness, faces)
    return drying.slab_time(0.1) / float(per_hour) / 24


def slab_share_lost(row: CheckRow) -> float:
    hours, thickness = row.number("seconds") / 3600, row.number("thickness_mm") / 1000
    fo = drying.fick_number(row.number("diffusivity_m2_s"), hours, thickness, 2)
    return 1 - float(drying.slab_unaccomplished(fo))


DRYING: dict[str, Callable[[CheckRow], float]] = {
    "wood_EMC": lambda r: wood_emc_percent(
        quantities.to_celsius(r.number("t_f"), TemperatureUnit.FAHRENHEIT), r
    ),
    "wood_EMC_c": lambda r: wood_emc_percent(r.number("t_c"), r),
    "commercial_regain": lambda r: 100 * drying.commercial_regain(FIBRES[r.text("fibre")]),
    "paper_EMC": lambda r: (
        100
        * float(
            drying.GAB_DEFAULTS[drying.SorbingMaterial.PAPER].moisture(r.number("rh_pct") / 100)
        )
    ),
    "Fo_for_E": lambda r: drying.slab_time(r.number("share")),
    "slab_unaccomplished_change": lambda r: float(drying.slab_unaccomplished(r.number("fo"))),
    "time_to_E0.1": days_to_a_tenth,
    "slab_share_lost": slab_share_lost,
    "constant_rate_flux": flux_g,
    "free_water_time": lambda r: r.number("load_g_m2") / r.number("faces") / flux_g(r),
}

# --- mould -----------------------------------------------------------------------------------

PINE = mould.vtt_wood()


def t_and_percent(row: CheckRow) -> tuple[float, float]:
    return row.number("t_c"), row.number("rh_pct") / 100


def wood(row: CheckRow) -> mould.VttMaterial:
    kiln_dried = "kiln_dried" in row.inputs and row.number("kiln_dried") == 1
    return mould.vtt_wood(spruce=row.number("spruce") == 1, kiln_dried=kiln_dried)


def sensitivity_class(row: CheckRow) -> mould.VttMaterial:
    return mould.vtt_material(SENSITIVITY[row.text("class")])


def days_at_first_pace(row: CheckRow) -> float:
    return 1 / mould.growth_per_day(0.0, *t_and_percent(row), sensitivity_class(row))


def decline(row: CheckRow) -> float:
    hours = int(row.number("dry_hours"))
    dry = mould.SurfaceSeries.hourly([20.0] * hours, [0.4] * hours)
    pine = mould.vtt_wood(decline=row.number("cmat"))
    return mould.vtt_index(dry, pine, mould.VttState(index=2.0)).state.index - 2.0


MOULD: dict[str, Callable[[CheckRow], float]] = {
    "VTT_RHcrit": lambda r: 100 * mould.critical_rh(r.number("t_c"), PINE),
    "VTT_weeks_to_M1": lambda r: mould.weeks_to_index_1(*t_and_percent(r), wood(r)),
    "VTT_weeks_to_M3": lambda r: mould.weeks_to_index_3(*t_and_percent(r), wood(r)),
    "VTT_days_to_M1_at_first_pace": days_at_first_pace,
    "VTT_Mmax": lambda r: mould.maximum_index(*t_and_percent(r), sensitivity_class(r)),
    "VTT_k2": lambda r: mould.saturation_factor(r.number("M"), r.number("Mmax")),
    "VTT_decline": decline,
    "MRD_D_RH": lambda r: mould.mrd_humidity_dose(r.number("rh_pct") / 100),
    "MRD_D_T": lambda r: mould.mrd_temperature_factor(r.number("t_c")),
    "MRD_daily_dose": lambda r: mould.mrd_daily_dose(*t_and_percent(r)),
    "PHI_mycelium_limit_RH": lambda r: 100 * mould.mycelium_limit_rh(r.number("t_c")),
    "PHI_growth_rate": lambda r: mould.mycelium_growth_mm_day(*t_and_percent(r)),
    "IEA_Annex14_RHcrit": lambda r: 100 * mould.annex_14_critical_rh(r.number("t_c")),
    "precaution_window_porous_wet": lambda r: mould.precautionary_window_h(r.number("t_c")),
}

# --- gas -------------------------------------------------------------------------------------


def minutes_to_limit(row: CheckRow) -> float:
    sink_h = row.number("sink_half_life_min") / 60 if "sink_half_life_min" in row.inputs else None
    return 60 * gas.airing_time_h(
        row.number("c0_ppm"),
        row.number("c1_ppm"),
        air_changes_per_h=row.number("ach"),
        mixing_factor=row.number("mixing") if "mixing" in row.inputs else 1,
        sink_half_life_h=sink_h,
    )


def minutes_to_removal(row: CheckRow) -> float:
    return 60 * gas.removal_time_h(
        row.number("efficiency"),
        air_changes_per_h=row.number("ach"),
        mixing_factor=row.number("mixing"),
    )


def dose_of_readings(row: CheckRow) -> float:
    pairs = [pair.split(":") for pair in row.text("readings").split("|")]
    readings = [gas.GasReading(float(hour), float(ppm)) for hour, ppm in pairs]
    return gas.sensor_dose(readings, gas.DoseWindow(longest_gap_h=2)).dose_ppm_h


def constant_dose(row: CheckRow) -> float:
    return gas.exposure_ppm_h(row.number("ppm"), row.number("ppm"), row.number("hours"))


def gas_state(row: CheckRow) -> tuple[float, float, float]:
    return row.number("molar_mass"), row.number("t_c"), row.number("p_pa")


def charge(row: CheckRow) -> float:
    molar_mass, t_c, p_pa = gas_state(row)
    return gas.charge_mass_g(
        chamber_m3=row.number("chamber_m3"),
        solids_m3=row.number("solids_m3"),
        signed_ppm=row.number("ppm"),
        molar_mass_g_mol=molar_mass,
        t_c=t_c,
        p_pa=p_pa,
    )


def load_ok(row: CheckRow) -> bool:
    chamber = gas.Chamber(row.number("chamber_m3"), rail_m=100, height_m=10)
    piece = gas.LoadPiece(1, 1, row.number("load_envelope_m3"))
    return gas.check_load(chamber, [piece], gas.LoadingRule(row.number("max_fill"))).fits


def inches(length_m: float) -> float:
    return quantities.from_metres(length_m, LengthUnit.INCH)


GAS: dict[str, Callable[[CheckRow], float | bool]] = {
    "minutes_to_removal": minutes_to_removal,
    "minutes_to_limit": minutes_to_limit,
    "decay_with_sink": minutes_to_limit,
    "half_loss_time": lambda r: gas.half_loss_time_h(r.number("ach")),
    "concentration_after": lambda r: gas.concentration_after(
        r.number("c0"), r.number("half_loss_h"), r.number("hours")
    ),
    "CT_from_decay": lambda r: gas.exposure_of_decay(
        r.number("c0"), r.number("half_loss_h"), r.number("hours")
    ),
    "CT_readings": dose_of_readings,
    "CT_log_mean": lambda r: gas.exposure_ppm_h(r.number("c1"), r.number("c2"), r.number("hours")),
    "CT_constant": constant_dose,
    "mg_m3_per_ppm": lambda r: float(quantities.mg_m3_from_ppm(1, *gas_state(r))),
    "mg_m3_from_ppm": lambda r: float(quantities.mg_m3_from_ppm(r.number("ppm"), *gas_state(r))),
    "ppm_from_g_m3": lambda r: float(
        quantities.ppm_from_mg_m3(1000 * r.number("c_g_m3"), *gas_state(r))
    ),
    "molar_volume": lambda r: float(
        quantities.molar_volume_l_mol(r.number("t_c"), r.number("p_pa"))
    ),
    "gas_mass": charge,
    "load_ok": load_ok,
    "max_fill_fraction": lambda _: gas.CONTAINER_LOADING.max_fill,
    "min_headspace_above_load": lambda _: inches(gas.CONTAINER_LOADING.headspace_m),
    "min_underfloor_gap": lambda _: inches(gas.CONTAINER_LOADING.underfloor_m),
    "freezer_carton_fill": lambda _: gas.FREEZER_CARTON_FILL,
}

CHECKS: dict[str, Callable[[CheckRow], float | bool]] = {**AIR, **DRYING, **MOULD, **GAS}
ROWS = rows_for(TOPICS)


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_agrees_with_the_published_figure(row: CheckRow) -> None:
    row.assert_met_by(CHECKS[row.check](row))


def test_every_check_written_here_has_a_row() -> None:
    assert CHECKS.keys() == {row.check for row in ROWS}


def test_every_row_names_its_source() -> None:
    unsourced = [row.id for row in load_rows() if not row.source.strip() or not row.expected]
    assert unsourced == []


def test_every_topic_is_claimed_by_exactly_one_test_module() -> None:
    claims: Counter[str] = Counter()
    for path in Path(__file__).parent.glob("test_*.py"):
        module = importlib.import_module(f"tests.published.{path.stem}")
        claims.update(getattr(module, "TOPICS", frozenset()))
    assert claims == Counter({row.topic for row in load_rows()})


def walk_shared() -> list[pkgutil.ModuleInfo]:
    return list(pkgutil.iter_modules(shared.__path__))


def test_every_constant_of_the_science_names_its_source() -> None:
    modules = [importlib.import_module(f"shared.{one.name}") for one in walk_shared()]
    books = [module.FACTS for module in modules if isinstance(vars(module).get("FACTS"), FactBook)]
    assert len(books) >= 8
    for book in books:
        facts = list(book)
        assert facts
        assert all(fact.source.strip() and fact.name.strip() for fact in facts)
        assert len({fact.name for fact in facts}) == len(facts)
