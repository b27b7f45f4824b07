"""Tags and QR symbols against the standards that they follow."""

from random import Random

import pytest
from stdnum.iso7064 import mod_37_2

from labels.codes import ALPHABET, QR_ALPHANUMERIC, new_tag, parse_tag, tag_url
from labels.symbols import QUIET_ZONE_MODULES, ErrorCorrection, SymbolError, make_symbol

# ISO/IEC 18004:2015, table 7 (characters in alphanumeric mode by version and level).
ALPHANUMERIC_CAPACITY = {
    (1, "L"): 25, (1, "M"): 20, (1, "Q"): 16, (1, "H"): 10,
    (2, "L"): 47, (2, "M"): 38, (2, "Q"): 29, (2, "H"): 20,
    (3, "L"): 77, (3, "M"): 61, (3, "Q"): 47, (3, "H"): 35,
    (4, "L"): 114, (4, "M"): 90, (4, "Q"): 67, (4, "H"): 50,
    (40, "L"): 4296,
}  # fmt: skip


@pytest.mark.parametrize(("key", "capacity"), ALPHANUMERIC_CAPACITY.items())
def test_alphanumeric_capacity_iso_18004_table_7(key: tuple[int, str], capacity: int) -> None:
    version, level = key
    assert make_symbol("A" * capacity, ErrorCorrection(level)).version == version
    if version == 40:
        with pytest.raises(SymbolError):
            make_symbol("A" * (capacity + 1), ErrorCorrection(level))
    else:
        assert make_symbol("A" * (capacity + 1), ErrorCorrection(level)).version == version + 1


# ISO/IEC 18004: a symbol of version v has 17 + 4 v modules a side, 21 to 177.
@pytest.mark.parametrize(
    ("characters", "version", "side"), [(16, 1, 21), (154, 8, 49), (4296, 40, 177)]
)
def test_modules_a_side_iso_18004(characters: int, version: int, side: int) -> None:
    level = ErrorCorrection.L if version == 40 else ErrorCorrection.Q
    symbol = make_symbol("A" * characters, level)
    assert symbol.version == version
    assert symbol.modules.shape == (side, side)


def test_quiet_zone_and_printed_size_iso_18004() -> None:
    # Quiet zone of four modules a side, so version 3 at 0.5 mm prints 18.5 mm.
    assert QUIET_ZONE_MODULES == 4
    assert make_symbol("A" * 47, ErrorCorrection.Q).side_mm(0.5) == pytest.approx(18.5)


def test_alphanumeric_characters_iso_18004_table_5() -> None:
    assert "".join(sorted(QR_ALPHANUMERIC)) == " $%*+-./0123456789:ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def test_a_tags_address_fits_version_3_at_level_q() -> None:
    # 47 characters (table 7) less "HTTPS://", "/T/" and the tag leave 23 for the host.
    tag = new_tag(Random(1).choice)
    host = "a" * 15 + ".example"
    assert make_symbol(tag_url(f"https://{host}", tag)).version == 3
    assert make_symbol(tag_url(f"https://a{host}", tag)).version == 4


def test_finder_patterns_iso_18004_figure_of_the_symbol() -> None:
    finder = ["1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"]
    modules = make_symbol("HTTPS://TAGS.EXAMPLE/T/0").modules
    for corner in (modules[:7, :7], modules[:7, -7:], modules[-7:, :7]):
        assert ["".join("01"[int(dark)] for dark in row) for row in corner] == finder
    # Timing pattern: row and column 6 alternate between the finders.
    between = modules[6, 8:-8]
    assert [bool(dark) for dark in between] == [i % 2 == 0 for i in range(len(between))]


def test_check_character_iso_7064_mod_37_2_as_used_by_isbt_128() -> None:
    # ISBT 128 Standard Technical Specification, donation number example with check character
    # (from memory; the same example stands in the documentation of python-stdnum).
    assert mod_37_2.calc_check_digit("G123489654321") == "Y"


def test_alphabet_and_reading_rules_crockford_base_32() -> None:
    # Douglas Crockford, "Base 32": 0-9 and A-Z without I, L, O, U; on reading, case doesn't
    # matter, hyphens are skipped, O is 0, I and L are 1.
    assert ALPHABET == "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    assert len(ALPHABET) == 32
    body = "0" * 6 + "1" * 6
    tag = body + mod_37_2.calc_check_digit(body)
    assert tag[-1] in ALPHABET
    assert parse_tag("oO0o-Oo" + "iIl-L11" + tag[-1].lower()) == tag
