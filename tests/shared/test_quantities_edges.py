"""Ends of the ranges, and what a person reads when a figure falls outside them."""

from collections.abc import Callable
from functools import partial

import pytest

from shared import quantities as q
from shared.quantities import Fact, FactBook, LengthUnit, Mark, MassUnit, OutOfRange, VolumeUnit


def refusal(call: Callable[[], object]) -> str:
    with pytest.raises(OutOfRange) as caught:
        call()
    return str(caught.value)


# --- the sentence ----------------------------------------------------------------------------


def test_an_error_without_a_mend_ends_at_its_full_stop() -> None:
    assert str(OutOfRange("open faces", 3, "1 or 2")) == "open faces: 3 is not 1 or 2."


@pytest.mark.parametrize("require", [q.require_range, q.require_number])
def test_a_plain_number_is_refused_without_a_unit_or_a_mend(
    require: Callable[..., object],
) -> None:
    assert refusal(partial(require, "GAB constant C", -1, 0, 9)) == (
        "GAB constant C: -1.0 is not a number from 0 to 9."
    )


@pytest.mark.parametrize("require", [q.require_range, q.require_number])
@pytest.mark.parametrize(("value", "shown"), [(-1, "-1.0"), ("wide", "'wide'"), (None, "nan")])
def test_the_value_the_unit_and_the_mend_are_all_in_the_sentence(
    require: Callable[..., object], value: object, shown: str
) -> None:
    measure_again = partial(require, "width", value, 0, 5, "m", hint="Measure it again.")
    assert refusal(measure_again) == (
        f"width: {shown} is not a number from 0 to 5 m. Measure it again."
    )


def test_humidity_is_called_relative_humidity_unless_named() -> None:
    assert refusal(partial(q.require_rh, 55)) == (
        "relative humidity: 55.0 is not a number from 0 to 1. Give a fraction: 55 % is 0.55."
    )


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            partial(q.to_metres, -1, LengthUnit.CENTIMETRE),
            "length: -1.0 is not a number from 0 to 100000 cm.",
        ),
        (
            partial(q.to_metres, 1000.5, LengthUnit.METRE, "frame width"),
            "frame width: 1000.5 is not a number from 0 to 1000 m.",
        ),
        (
            partial(q.from_metres, 1000.5, LengthUnit.INCH),
            "length: 1000.5 is not a number from 0 to 1000 m.",
        ),
        (
            partial(q.to_kilograms, -1, MassUnit.GRAM),
            "mass: -1.0 is not a number from 0 to 1e+09 g.",
        ),
        (
            partial(q.to_kilograms, 1_000_000.5, MassUnit.KILOGRAM, "charge"),
            "charge: 1000000.5 is not a number from 0 to 1e+06 kg.",
        ),
        (
            partial(q.from_kilograms, 1_000_000.5, MassUnit.POUND),
            "mass: 1000000.5 is not a number from 0 to 1e+06 kg.",
        ),
        (
            partial(q.to_cubic_metres, -1, VolumeUnit.LITRE),
            "volume: -1.0 is not a number from 0 to 1e+09 L.",
        ),
        (
            partial(q.to_cubic_metres, 1_000_000.5, VolumeUnit.CUBIC_METRE, "chamber"),
            "chamber: 1000000.5 is not a number from 0 to 1e+06 m3.",
        ),
        (
            partial(q.from_cubic_metres, 1_000_000.5, VolumeUnit.LITRE),
            "volume: 1000000.5 is not a number from 0 to 1e+06 m3.",
        ),
        (
            partial(q.molar_volume_l_mol, -40.5, 101_325),
            "gas temperature: -40.5 is not a number from -40 to 100 °C."
            " If it was read in °F, convert it first: 68 °F is 20 °C.",
        ),
        (
            partial(q.molar_volume_l_mol, 100.5, 101_325),
            "gas temperature: 100.5 is not a number from -40 to 100 °C."
            " If it was read in °F, convert it first: 68 °F is 20 °C.",
        ),
        (
            partial(q.mg_m3_from_ppm, 1_000_000.5, 48, 20, 101_325),
            "gas concentration: 1000000.5 is not a number from 0 to 1e+06 ppm.",
        ),
        (
            partial(q.ppm_from_mg_m3, 100_000_000.5, 48, 20, 101_325),
            "gas concentration: 100000000.5 is not a number from 0 to 1e+08 mg/m3.",
        ),
        (
            partial(q.mg_m3_from_ppm, 1, 0.5, 20, 101_325),
            "molar mass: 0.5 is not a number from 1 to 500 g/mol.",
        ),
        (
            partial(q.ppm_from_mg_m3, 1, 500.5, 20, 101_325),
            "molar mass: 500.5 is not a number from 1 to 500 g/mol.",
        ),
    ],
)
def test_what_is_outside_is_refused_with_the_range_in_the_unit_it_was_given_in(
    call: Callable[[], object], sentence: str
) -> None:
    assert refusal(call) == sentence


# --- the ends themselves ---------------------------------------------------------------------


def test_the_largest_sizes_are_still_taken() -> None:
    assert q.to_metres(1000, LengthUnit.METRE) == 1000
    assert q.from_metres(1000, LengthUnit.MILLIMETRE) == 1_000_000
    assert q.to_kilograms(1_000_000, MassUnit.KILOGRAM) == 1_000_000
    assert q.from_kilograms(1_000_000, MassUnit.GRAM) == 1e9
    assert q.to_cubic_metres(1_000_000, VolumeUnit.CUBIC_METRE) == 1_000_000
    assert q.from_cubic_metres(1_000_000, VolumeUnit.LITRE) == 1e9


def test_a_gas_of_a_gram_a_mole_is_still_taken() -> None:
    # A millionth of 22.41396954 L (CODATA 2018, 0 °C, 101.325 kPa) of it weighs a microgram.
    assert q.mg_m3_from_ppm(1, 1, 0, 101_325) == pytest.approx(1 / 22.41396954, rel=1e-9)


def test_the_molar_volume_is_codata_s() -> None:
    # CODATA 2018: 22.41396954e-3 m3/mol at 273.15 K and 101.325 kPa; 22.71095464e-3 at 100 kPa.
    assert q.molar_volume_l_mol(0, 101_325) == pytest.approx(22.41396954, rel=1e-9)
    assert q.molar_volume_l_mol(0, 100_000) == pytest.approx(22.71095464, rel=1e-9)


def test_gas_temperatures_from_40_below_to_the_boiling_point_are_taken() -> None:
    # By Charles's law the volumes stand as 233.15 K to 373.15 K.
    cold, hot = q.molar_volume_l_mol([-40, 100], 101_325)
    assert hot / cold == pytest.approx(373.15 / 233.15)


def test_pure_gas_is_a_million_parts_per_million_and_no_more() -> None:
    pure_mg_m3 = float(q.mg_m3_from_ppm(1_000_000, 44, 20, 101_325))
    assert q.ppm_from_mg_m3(pure_mg_m3 * (1 - 1e-12), 44, 20, 101_325) == pytest.approx(1e6)
    too_much = partial(q.ppm_from_mg_m3, pure_mg_m3 * (1 + 5e-7), 44, 20, 101_325)
    assert refusal(too_much).startswith("gas concentration: 1000000.")
    assert refusal(too_much).endswith(" is not a number from 0 to 1e+06 ppm.")


# --- provenance ------------------------------------------------------------------------------


def test_a_noted_constant_keeps_everything_the_page_shows() -> None:
    book = FactBook()
    book.note("gravity", 9.80665, "m/s2", "3rd CGPM (1901)", Mark.PUBLISHED)
    assert list(book) == [Fact("gravity", 9.80665, "m/s2", "3rd CGPM (1901)", Mark.PUBLISHED)]
