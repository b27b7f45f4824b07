from collections import Counter
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_2

from labels.codes import (
    ALPHABET,
    QR_ALPHANUMERIC,
    TAG_LENGTH,
    TagError,
    new_tag,
    new_tags,
    parse_tag,
    show_tag,
    tag_url,
)

tags = st.integers(0, 2**32).map(lambda seed: new_tag(Random(seed).choice))


def test_tags_hold_no_ambiguous_character() -> None:
    printed = set("".join(new_tags(2_000)))
    assert printed == set(ALPHABET)
    assert not printed & set("ILOU*")


def test_tags_are_unique_and_random() -> None:
    made = new_tags(5_000)
    assert len(set(made)) == 5_000
    assert new_tag() != new_tag()


def test_a_draw_that_repeats_is_drawn_again() -> None:
    first, second = new_tags(2, Random(1).choice)
    repeating = iter(first[:-1] * 2 + second[:-1])
    assert new_tags(2, lambda _: next(repeating)) == [first, second]


def test_a_body_whose_check_character_is_not_printable_is_drawn_again() -> None:
    rng = Random(5)
    bad = next(
        body
        for body in ("".join(rng.choices(ALPHABET, k=12)) for _ in range(1_000))
        if mod_37_2.calc_check_digit(body) not in ALPHABET
    )
    good = new_tag(Random(1).choice)
    draws = iter(bad + good[:-1])
    assert new_tag(lambda _: next(draws)) == good


def test_a_negative_count_is_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        new_tags(-1)


@given(tags)
def test_tags_read_back(tag: str) -> None:
    assert len(tag) == TAG_LENGTH
    assert parse_tag(tag) == tag
    assert parse_tag(show_tag(tag)) == tag


@given(tags, st.randoms())
def test_tags_are_read_as_people_type_them(tag: str, random: Random) -> None:
    typed = ""
    for character in tag:
        looks = {"0": "0Oo", "1": "1IiLl"}.get(character, character + character.lower())
        typed += random.choice(looks) + random.choice(["", "", " ", "-", "–"])
    assert parse_tag(f"  {typed}\n") == tag


@given(
    tags, st.sampled_from(["https://tags.example", "http://10.0.0.5:8000/", "HTTPS://X.EXAMPLE/A"])
)
def test_tags_are_read_from_their_urls(tag: str, base: str) -> None:
    url = tag_url(base, tag)
    assert set(url) <= QR_ALPHANUMERIC
    assert url.endswith(f"/T/{tag}")
    assert parse_tag(url) == tag
    assert parse_tag(url.lower() + "/") == tag


@given(tags)
def test_every_single_wrong_character_is_caught(tag: str) -> None:
    for place, right in enumerate(tag):
        for wrong in ALPHABET.replace(right, ""):
            with pytest.raises(TagError):
                parse_tag(tag[:place] + wrong + tag[place + 1 :])


@given(tags)
def test_every_swap_of_neighbours_is_caught(tag: str) -> None:
    for place in range(TAG_LENGTH - 1):
        swapped = tag[:place] + tag[place + 1] + tag[place] + tag[place + 2 :]
        if swapped != tag:
            with pytest.raises(TagError):
                parse_tag(swapped)


@given(st.text(st.sampled_from(ALPHABET), min_size=TAG_LENGTH, max_size=TAG_LENGTH))
def test_the_check_is_a_weighted_sum(text: str) -> None:
    """ISO/IEC 7064 MOD 37-2: the characters' values times 2**i from the right leave 1 mod 37.

    ISO/IEC 7064 gives the values 0 to 9 to the digits and 10 to 35 to A to Z.
    """
    values = [int(character, 36) for character in reversed(text)]
    total = sum(value * 2**place for place, value in enumerate(values))
    assert mod_37_2.checksum(text) == total % 37
    assert mod_37_2.is_valid(text) is (total % 37 == 1)


def test_the_check_misses_no_single_error_and_no_swap_at_all() -> None:
    """The check is linear, so these two exhaustive runs stand for every tag there is.

    By the test above, place i from the right weighs 2**i mod 37.  A wrong character changes the
    sum by (difference × weight), a swap of neighbours by (difference × the lower weight): neither
    is 0 mod 37 for any two different characters at any place.
    """
    values = [mod_37_2.checksum(character) for character in ALPHABET]
    assert len(set(values)) == len(ALPHABET)
    for place in range(TAG_LENGTH):
        weight = mod_37_2.checksum("1" + "0" * place)
        assert weight == 2**place % 37
        for a in values:
            for b in values:
                if a != b:
                    assert (a - b) * weight % 37 != 0
                    assert ((2 * a + b) - (2 * b + a)) * weight % 37 != 0


def test_each_character_takes_every_state_of_the_check_to_twice_it_and_its_value() -> None:
    """The check of 37 states, whole: every state it can be in, and every character read in it."""
    pairs = [one + other for one in ALPHABET for other in ALPHABET]
    in_state = {mod_37_2.checksum(pair): pair for pair in pairs}
    assert set(in_state) == set(range(37))
    for state, text in in_state.items():
        after = [mod_37_2.checksum(text + character) for character in ALPHABET]
        assert after == [(2 * state + int(character, 36)) % 37 for character in ALPHABET]
        assert len(set(after)) == len(ALPHABET)  # two characters never lead to one state
    # Nor do two states to one, so that a difference once made stays to the end of the tag.
    for character in ALPHABET:
        ends = {mod_37_2.checksum(text + character) for text in in_state.values()}
        assert len(ends) == 37


def test_swaps_and_twin_errors_at_any_distance_are_caught_too() -> None:
    """2 has order 36 mod 37, so that no two of the 13 weights agree and no two cancel out.

    Two places swapped change the sum by (difference × difference of weights), one character
    twice mistaken alike (11 for 77, 1X1 for 7X7) by (difference × sum of weights).
    """
    weights = [2**place % 37 for place in range(TAG_LENGTH)]
    for one in range(TAG_LENGTH):
        for other in range(one):
            for difference in range(1, 37):
                assert difference * (weights[one] - weights[other]) % 37 != 0
                assert difference * (weights[one] + weights[other]) % 37 != 0


def test_of_two_wrong_characters_one_pair_in_36_gets_through() -> None:
    """The rate that the module's description gives, exact for every two places."""
    values = [int(character, 36) for character in ALPHABET]
    ways = Counter((a - b) % 37 for a in values for b in values if a != b)
    for apart in range(1, TAG_LENGTH):
        missed = sum(many * ways[-step * 2**apart % 37] for step, many in ways.items())
        assert missed / sum(ways.values()) ** 2 == pytest.approx(1 / 36, rel=0.001)


def test_every_two_characters_lost_or_added_are_named() -> None:
    tag = new_tag(Random(3).choice)
    with pytest.raises(TagError, match="this has 12: 1 missing"):
        parse_tag(tag[1:])
    with pytest.raises(TagError, match="this has 15: 2 too many"):
        parse_tag(tag + "AB")
    with pytest.raises(TagError, match="this has 0: 13 missing"):
        parse_tag("")


def test_a_character_outside_the_set_is_named_with_its_place() -> None:
    tag = new_tag(Random(3).choice)
    with pytest.raises(TagError, match=r"'U' at place 3 .* is it a V"):
        parse_tag(tag[:2] + "u" + tag[3:])
    with pytest.raises(TagError, match=r"'\*' at place 13"):
        parse_tag(tag[:-1] + "*")


@given(tags)
def test_the_mend_points_at_a_look_alike(tag: str) -> None:
    place = next((i for i, character in enumerate(tag) if character in "8B"), None)
    if place is None:
        return
    other = "B" if tag[place] == "8" else "8"
    with pytest.raises(
        TagError, match=rf"check character does not fit.*place {place + 1} \({other}\)"
    ):
        parse_tag(tag[:place] + other + tag[place + 1 :])


def test_another_web_address_is_not_a_tag() -> None:
    with pytest.raises(TagError, match="not that of a tag"):
        parse_tag("https://elsewhere.example/menu")


@pytest.mark.parametrize(
    ("base", "why"),
    [
        ("https://tags.example/app", "'a'"),
        ("https://under_score.example", "'_'"),
        ("https://[2001:db8::1]", "'\\['"),
        ("https://müller.example", "'Ü'"),
        ("https://tags.example?x=1", "leave out"),
        ("https://tags.example#x", "leave out"),
        ("https://user@tags.example", "leave out"),
        ("ftp://tags.example", "give it as https"),
        ("tags.example", "give it as https"),
        ("https://", "give it as https"),
        ("https://[bad", "can't be read"),
        ("", "give it as https"),
    ],
)
def test_bases_that_do_not_fit_the_code_are_refused(base: str, why: str) -> None:
    with pytest.raises(TagError, match=why):
        tag_url(base, new_tag(Random(3).choice))
