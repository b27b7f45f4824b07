from hypothesis import given
from hypothesis import strategies as st

from labels.typeface import BOLD, fitting_size, markup, printable, register


def test_signs_of_the_trade_print_as_they_are() -> None:
    text = "61 × 91 cm – 20 °C ≤ 0.5 m³ ½ € “quoted” é ß Ø ž"
    assert printable(text) == text


def test_what_the_typeface_lacks_is_shown_in_brackets() -> None:
    assert printable("Dvořák") == "Dvo[r]ák"
    assert printable("漢") == "[U+6F22]"
    assert printable("a\u202eb") == "a[U+202E]b"
    assert printable("soft\xadhyphen") == "soft[U+00AD]hyphen"
    assert printable("a\tb\x00c\nd") == "a b c\nd"


def test_signs_with_a_plain_equal_use_it() -> None:
    assert printable("12⅜ in, ⅜ in") == "12 3/8 in, 3/8 in"
    assert printable("CO₂, 5′ 6″, 3 μm") == "CO2, 5' 6\", 3 µm"


@given(st.text())
def test_everything_printable_is_covered_and_nothing_vanishes(text: str) -> None:
    shown = printable(text)
    assert all(character == "\n" or ord(character) in register() for character in shown)
    assert bool(shown) == bool(text)
    assert printable(shown) == shown


def test_user_text_is_never_markup() -> None:
    assert markup("<b>a & b</b>\nc") == "&lt;b&gt;a &amp; b&lt;/b&gt;<br/>c"


def test_lines_shrink_to_fit_but_never_grow() -> None:
    assert fitting_size("A", BOLD, 1_000, 12) == 12
    small = fitting_size("WWWWWWWW", BOLD, 40, 12)
    assert 0 < small < 12
