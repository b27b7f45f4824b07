import math
import pickle
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import quantities as q
from shared.quantities import (
    FactBook,
    LengthUnit,
    Mark,
    MassUnit,
    OutOfRange,
    TemperatureUnit,
    VolumeUnit,
)


@pytest.mark.parametrize(
    ("value", "unit", "length_m"),
    [
        (24, LengthUnit.INCH, 0.6096),
        (Decimal("36.5"), LengthUnit.INCH, 0.9271),
        (10, LengthUnit.FOOT, 3.048),
        (76.2, LengthUnit.CENTIMETRE, 0.762),
        (5, LengthUnit.MILLIMETRE, 0.005),
        (2.5, LengthUnit.METRE, 2.5),
    ],
)
def test_lengths_convert_without_rounding(
    value: float | Decimal, unit: LengthUnit, length_m: float
) -> None:
    assert q.to_metres(value, unit) == length_m


@pytest.mark.parametrize(
    ("value", "unit", "mass_kg"),
    [
        (1, MassUnit.POUND, 0.45359237),
        (16, MassUnit.OUNCE, 0.45359237),
        (250, MassUnit.GRAM, 0.25),
        (3, MassUnit.KILOGRAM, 3.0),
    ],
)
def test_masses_convert_without_rounding(value: float, unit: MassUnit, mass_kg: float) -> None:
    assert q.to_kilograms(value, unit) == mass_kg


@pytest.mark.parametrize(
    ("value", "unit", "volume_m3"),
    [
        (1, VolumeUnit.CUBIC_FOOT, 0.028316846592),
        (1728, VolumeUnit.CUBIC_INCH, 0.028316846592),
        (750, VolumeUnit.LITRE, 0.75),
        (20, VolumeUnit.CUBIC_METRE, 20.0),
    ],
)
def test_volumes_convert_without_rounding(value: float, unit: VolumeUnit, volume_m3: float) -> None:
    assert q.to_cubic_metres(value, unit) == volume_m3


@pytest.mark.parametrize(("t_f", "t_c"), [(32, 0), (212, 100), (-40, -40), (68, 20)])
def test_fahrenheit(t_f: float, t_c: float) -> None:
    assert q.to_celsius(t_f, TemperatureUnit.FAHRENHEIT) == pytest.approx(t_c)
    assert q.from_celsius(t_c, TemperatureUnit.FAHRENHEIT) == pytest.approx(t_f)
    assert q.to_celsius(t_c, TemperatureUnit.CELSIUS) == t_c
    assert q.from_celsius(t_c, TemperatureUnit.CELSIUS) == t_c


@given(st.floats(0, 1000), st.sampled_from(LengthUnit))
def test_lengths_survive_the_round_trip(length_m: float, unit: LengthUnit) -> None:
    back = q.to_metres(q.from_metres(length_m, unit) * (1 - 1e-12), unit)
    assert back == pytest.approx(length_m, rel=1e-9)


@given(st.floats(0, 1e6))
def test_masses_and_volumes_survive_the_round_trip(value: float) -> None:
    smaller = value * (1 - 1e-12)
    for mass in MassUnit:
        back = q.to_kilograms(q.from_kilograms(smaller, mass), mass)
        assert back == pytest.approx(value, rel=1e-9)
    for volume in VolumeUnit:
        back = q.to_cubic_metres(q.from_cubic_metres(smaller, volume), volume)
        assert back == pytest.approx(value, rel=1e-9)


@given(
    ppm=st.floats(0, 1e5),
    molar_mass=st.floats(2, 200),
    t_c=st.floats(-20, 60),
    p_pa=st.floats(60_000, 110_000),
)
def test_ppm_survives_the_round_trip(
    ppm: float, molar_mass: float, t_c: float, p_pa: float
) -> None:
    mass = q.mg_m3_from_ppm(ppm, molar_mass, t_c, p_pa)
    assert q.ppm_from_mg_m3(mass, molar_mass, t_c, p_pa) == pytest.approx(ppm)


def test_thinner_or_warmer_air_holds_less_gas_per_ppm() -> None:
    here = q.mg_m3_from_ppm(1.0, 48.0, 25.0, 101_325)
    assert q.mg_m3_from_ppm(1.0, 48.0, 25.0, 84_556) < here
    assert q.mg_m3_from_ppm(1.0, 48.0, 35.0, 101_325) < here


def test_percentages_only_at_the_edge() -> None:
    assert q.rh_from_percent(Decimal(55)) == 0.55
    assert q.percent_from_rh(0.55) == pytest.approx(55)
    assert q.rh_from_percent(0) == 0
    assert q.rh_from_percent(100) == 1


@pytest.mark.parametrize(
    ("rh", "shown"), [(55, "55.0"), (1.01, "1.01"), (-0.01, "-0.01"), (math.nan, "nan")]
)
def test_humidity_out_of_range_says_what_to_do(rh: float, shown: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        q.require_rh(rh, "surface relative humidity")
    assert str(caught.value) == (
        f"surface relative humidity: {shown} is not a number from 0 to 1."
        " Give a fraction: 55 % is 0.55."
    )


@pytest.mark.parametrize("percent", [101, -1, math.nan, math.inf])
def test_impossible_percentages_are_refused(percent: float) -> None:
    with pytest.raises(OutOfRange, match=r"relative humidity: .* from 0 to 100 %"):
        q.rh_from_percent(percent)


def test_fahrenheit_given_as_celsius_is_caught() -> None:
    with pytest.raises(OutOfRange, match=r"air temperature: 68.0 .* -20 to 60 °C\. If it was"):
        q.require_temperature_c(68)


@pytest.mark.parametrize("p_pa", [0, 1013.25, 101.325, -1, 2e6])
def test_pressure_in_another_unit_is_caught(p_pa: float) -> None:
    with pytest.raises(OutOfRange, match=r"air pressure: .* Pa\. Give pascals"):
        q.require_pressure_pa(p_pa)


def test_the_first_value_outside_is_the_one_named() -> None:
    with pytest.raises(OutOfRange) as caught:
        q.require_range("width", [1.0, np.inf, -2.0], 0, 5, "m")
    assert caught.value.quantity == "width"
    assert caught.value.value == math.inf
    assert caught.value.allowed == "a number from 0 to 5 m"


@pytest.mark.parametrize("value", [[], np.array([]), ()])
def test_an_empty_series_is_named(value: object) -> None:
    with pytest.raises(OutOfRange, match="weighed mass: an empty series is not at least one"):
        q.require_range("weighed mass", value, 0, 1)  # type: ignore[arg-type]


@pytest.mark.parametrize("value", ["wet", {}, [1, "x"]])
def test_what_is_no_number_is_named(value: object) -> None:
    with pytest.raises(OutOfRange, match=r"width: .* is not a number from 0 to 5 m"):
        q.require_range("width", value, 0, 5, "m")  # type: ignore[arg-type]


def test_ends_of_a_range_belong_to_it_unless_excluded() -> None:
    assert q.require_number("x", 0, 0, 5) == 0
    assert q.require_number("x", 5, 0, 5) == 5
    with pytest.raises(OutOfRange, match="a number above 0 to 5"):
        q.require_number("x", 0, 0, 5, above_low=True)


@pytest.mark.parametrize("value", [-1, math.nan, 1e9])
def test_impossible_sizes_are_refused(value: float) -> None:
    with pytest.raises(OutOfRange, match="frame width"):
        q.to_metres(value, LengthUnit.INCH, "frame width")
    with pytest.raises(OutOfRange, match="mass"):
        q.from_kilograms(value, MassUnit.POUND)
    with pytest.raises(OutOfRange, match="volume"):
        q.from_cubic_metres(value, VolumeUnit.LITRE)


def test_colder_than_absolute_zero_is_refused() -> None:
    with pytest.raises(OutOfRange, match=r"temperature: -460"):
        q.to_celsius(-460, TemperatureUnit.FAHRENHEIT)
    with pytest.raises(OutOfRange, match=r"temperature: -274"):
        q.to_celsius(-274, TemperatureUnit.CELSIUS)
    with pytest.raises(OutOfRange, match="temperature: nan"):
        q.from_celsius(math.nan, TemperatureUnit.FAHRENHEIT)


def test_ends_of_the_ranges_at_the_edge() -> None:
    assert q.require_pressure_pa(20_000) == 20_000
    assert q.require_pressure_pa(1_000_000) == 1_000_000
    with pytest.raises(OutOfRange, match="from 20000 to 1e\\+06 Pa"):
        q.require_pressure_pa(1_000_001)
    assert q.to_celsius(1000, TemperatureUnit.CELSIUS) == 1000
    with pytest.raises(OutOfRange, match=r"from -273.15 to 1000 °C"):
        q.to_celsius(1000.1, TemperatureUnit.CELSIUS)
    assert q.to_celsius(1832, TemperatureUnit.FAHRENHEIT) == 1000
    with pytest.raises(OutOfRange, match=r"from -459.67 to 1832 °F"):
        q.to_celsius(1832.1, TemperatureUnit.FAHRENHEIT)
    with pytest.raises(OutOfRange, match=r"from -273.15 to 1000 °C"):
        q.from_celsius(1000.1, TemperatureUnit.CELSIUS)


def test_more_than_pure_gas_is_refused() -> None:
    with pytest.raises(OutOfRange, match="ppm"):
        q.ppm_from_mg_m3(1e8, 44.0, 20, 101_325)


def test_the_error_survives_a_process_boundary() -> None:
    error = OutOfRange("width", 7, "a number from 0 to 5 m", "Measure again.")
    copy = pickle.loads(pickle.dumps(error))
    assert str(copy) == str(error) == "width: 7 is not a number from 0 to 5 m. Measure again."
    assert (copy.quantity, copy.value, copy.allowed, copy.hint) == (
        error.quantity,
        error.value,
        error.allowed,
        error.hint,
    )


def test_a_fact_without_source_is_refused() -> None:
    book = FactBook()
    assert book.note("pi", 3.14, "-", "Euclid", Mark.PUBLISHED) == 3.14
    with pytest.raises(ValueError, match="tau: a constant needs a source"):
        book.note("tau", 6.28, "-", " ", Mark.PUBLISHED)
    assert [fact.name for fact in book] == ["pi"]
