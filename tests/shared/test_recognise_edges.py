"""Recognition at its edges: whole sentences of a mend, and the ends of what a size may be.

How catalogues word media and sizes is common practice, no source. The inch is 25.4 mm and the
foot 304.8 mm exactly (NIST Special Publication 811, 2008, Appendix B). The phrases of the small
tables written here are invented.
"""

from decimal import Decimal
from pathlib import Path

import pytest

from shared import recognise
from shared.quantities import LengthUnit
from shared.recognise import (
    DamageFinding,
    MediumFinding,
    PartSize,
    SizeError,
    SizePart,
    recognise_damage,
    recognise_length,
    recognise_medium,
    recognise_size,
)
from shared.vocabulary import Damage, Material, ObjectType

BLANK_MEDIUM = "Name the medium, such as 'oil on canvas' or 'gelatin silver print'."
BLANK_DAMAGE = "Say what happened, such as 'soaked', 'soot' or 'mould'."

MediumBook = recognise._PhraseBook[Material]

# --- a table of phrases -----------------------------------------------------------------------

HEADER = "field,phrase,meanings,object_type,replaces,advice,source,mark"
ROWS = (
    "medium,egg paint ... on fine cloth,acrylic_canvas;textile,painting,,",
    "medium,egg paint,,,,name what it is on",
    "medium,on fine cloth,textile,,,",
    "medium,red clay,ceramic_low,sculpture,,",
    "medium,red clay pot,ceramic_high,decorative,ceramic_low,",
    "medium,pot,ceramic_high,decorative,,",
    "medium,and,,,,",
    "medium,carved,,,,",
    "medium,chalk,pastel,work_on_paper,,",
    "damage,red clay,soaked,,,",
)
FACTS = ',"common practice, no source",common practice'


def medium_book(folder: Path, monkeypatch: pytest.MonkeyPatch, *more: str) -> MediumBook:
    """The phrases of a small invented table, with more rows if given."""
    table = folder / "invented.csv"
    rows = (row + FACTS for row in (*ROWS, *more))
    table.write_text("\n".join([HEADER, *rows]), encoding="utf-8")
    monkeypatch.setattr(recognise, "_TABLE", table)
    return recognise._PhraseBook("medium", Material, "Say it.")


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> MediumBook:
    return medium_book(tmp_path, monkeypatch)


A, T, CL, CH, P = (
    Material.ACRYLIC_CANVAS,
    Material.TEXTILE,
    Material.CERAMIC_LOW,
    Material.CERAMIC_HIGH,
    Material.PASTEL,
)


@pytest.mark.parametrize(
    ("text", "meanings", "object_type", "rest"),
    [
        ("chalk", (P,), ObjectType.WORK_ON_PAPER, ()),
        ("carved chalk", (P,), ObjectType.WORK_ON_PAPER, ()),
        # The longest phrase wins, and a closer one stands for the looser it replaces.
        ("red clay", (CL,), ObjectType.SCULPTURE, ()),
        ("red clay pot", (CH,), ObjectType.DECORATIVE, ()),
        ("red clay and pot", (CL, CH), ObjectType.SCULPTURE, ()),
        ("red clay and red clay pot", (CH,), ObjectType.SCULPTURE, ()),
        ("chalk red clay pot", (P, CH), ObjectType.WORK_ON_PAPER, ()),
        ("red clay, pot", (CL, CH), ObjectType.SCULPTURE, ()),
        ("red, clay", (), None, ("red", "clay")),
        ("red clay pot pot", (CH,), ObjectType.DECORATIVE, ()),
        # The two ends of a held-apart phrase find each other over what stands between.
        ("egg paint on fine cloth", (A, T), ObjectType.PAINTING, ()),
        ("egg paint and chalk on fine cloth", (A, T, P), ObjectType.PAINTING, ()),
        ("egg paint, chalk, on fine cloth", (A, T, P), ObjectType.PAINTING, ()),
        ("chalk on fine cloth", (P, T), ObjectType.WORK_ON_PAPER, ()),
        ("on fine cloth egg paint", (T,), None, ("egg paint",)),
        ("egg paint", (), None, ("egg paint",)),
        ("egg paint and egg paint on fine cloth", (A, T), ObjectType.PAINTING, ()),
        (
            "egg paint on fine cloth and egg paint on fine cloth",
            (A, T),
            ObjectType.PAINTING,
            (),
        ),
        ("egg paint zib on fine cloth", (A, T), ObjectType.PAINTING, ("zib",)),
        ("carved and", (), None, ()),
        ("zib Chalk ZOB", (P,), ObjectType.WORK_ON_PAPER, ("zib", "ZOB")),
        ("no chalk", (), ObjectType.WORK_ON_PAPER, ("no",)),
    ],
)
def test_phrases_are_read_from_the_left_the_longest_first(
    book: MediumBook,
    text: str,
    meanings: tuple[Material, ...],
    object_type: ObjectType | None,
    rest: tuple[str, ...],
) -> None:
    reading = book.read(text)
    assert (reading.meanings, reading.object_type, reading.rest) == (meanings, object_type, rest)
    assert (reading.mend == "") == (not rest and bool(meanings))


@pytest.mark.parametrize(
    ("text", "mend"),
    [
        ("", "Say it."),
        (" ,; ", "Say it."),
        (" carved ", "'carved' names nothing by itself. Say it."),
        ("carved " * 20, f"'{('carved ' * 20)[:80]}' names nothing by itself. Say it."),
        ("egg paint", "'egg paint' says too little: name what it is on."),
        (
            "egg paint zib",
            "'egg paint' says too little: name what it is on. Not understood: 'zib'. Say it.",
        ),
        (" no chalk ", "'no chalk' says what is not there; write only what is there."),
        (
            "no " + "chalk " * 20,
            f"'{('no ' + 'chalk ' * 20)[:80]}' says what is not there; write only what is there.",
        ),
        ("q1 q2 q3 q4 q5", "Not understood: 'q1', 'q2', 'q3', 'q4', 'q5'. Say it."),
        ("q1 q2 q3 q4 q5 q6", "Not understood: 'q1', 'q2', 'q3', 'q4', 'q5' and 1 more. Say it."),
        ("zib CHALC", "Not understood: 'zib', 'CHALC'. Say it."),
        ("zib, CHALC", "Not understood: 'zib', 'CHALC'. Say it."),
        ("CHALC, zib", "Not understood: 'CHALC', 'zib'. Nearest known: 'chalk'."),
        (
            "rad clay",
            "Not understood: 'rad', 'clay'. Nearest known: 'red clay'.",
        ),
        (
            "egg pant on fine cloth",
            "Not understood: 'egg', 'pant'. Nearest known: 'egg paint on fine cloth', "
            "'on fine cloth'.",
        ),
    ],
)
def test_what_is_not_understood_is_mended_in_whole_sentences(
    book: MediumBook, text: str, mend: str
) -> None:
    assert book.read(text).mend == mend


def test_the_likest_phrases_are_suggested_first_and_at_most_three(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Likeness is twice the letters in common over all letters, in per cent:
    # zibel 2 x 5 / 13 = 77, zibeli 2 x 6 / 14 = 86, zibelina 2 x 7 / 16 = 88,
    # zibelinen 2 x 8 / 17 = 94, zibe 2 x 4 / 12 = 67.
    words = ("zibel", "zibeli", "zibe", "zibelina", "zibelinen")
    book = medium_book(tmp_path, monkeypatch, *(f"medium,{word},wax,,," for word in words))
    assert book.read("zibeline, chalk").mend == (
        "Not understood: 'zibeline'. Nearest known: 'zibelinen', 'zibelina', 'zibeli'."
    )


def test_a_phrase_that_is_not_like_enough_is_not_suggested(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # abcde against abcdxy: 2 x 4 / 11 = 73 per cent; abcdefg against abcdexy: 2 x 5 / 14 = 71.
    near = medium_book(tmp_path, monkeypatch, "medium,abcdxy,wax,,,")
    assert near.read("abcde").mend.endswith("Nearest known: 'abcdxy'.")
    far = medium_book(tmp_path, monkeypatch, "medium,abcdexy,wax,,,")
    assert far.read("abcdefg").mend.endswith("Say it.")


def test_a_suggestion_may_be_like_the_whole_clause_or_like_its_first_unknown_word(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Like "abcdef ghijkl": 2 x 12 / 25 = 96 and 2 x 11 / 24 = 92 per cent; like "abcdef":
    # 2 x 5 / 11 = 91 and 2 x 5 / 12 = 83, which is one too many.
    words = ("abcdef ghijk", "abcdef ghij", "abcdeg", "abcde")
    book = medium_book(tmp_path, monkeypatch, *(f"medium,{word},wax,,," for word in words))
    assert book.read("abcdef ghijkl").mend == (
        "Not understood: 'abcdef', 'ghijkl'. Nearest known: 'abcdef ghijk', 'abcdef ghij', 'abcde'."
    )


@pytest.mark.parametrize("row", ["medium,red clays,wax,,,", "medium,Red-Clay,,,,say more"])
def test_a_phrase_that_is_in_the_table_twice_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, row: str
) -> None:
    phrase = row.split(",")[1]
    with pytest.raises(ValueError, match=f"^invented.csv: '{phrase}' is there twice$"):
        medium_book(tmp_path, monkeypatch, row)


def test_a_phrase_held_apart_that_is_in_the_table_twice_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(
        ValueError, match=r"^invented.csv: 'Egg-Paint ... on fine cloths' is there twice$"
    ):
        medium_book(tmp_path, monkeypatch, "medium,Egg-Paint ... on fine cloths,wax,,,")
    # One end may be shared by several.
    book = medium_book(
        tmp_path,
        monkeypatch,
        "medium,egg paint ... on rough cloth,wax,,,",
        "medium,on rough cloth,textile,,,",
    )
    assert book.read("egg paint and chalk on rough cloth").meanings == (Material.WAX, P)
    assert book.read("egg paint and chalk on fine cloth").meanings == (A, T, P)


# --- words ------------------------------------------------------------------------------------

# Every form on the left stands for the word in the table on the right.
FORMS = {
    "Colors": "colour",
    "MOLD": "mould",
    "grays": "grey",
    "fibers": "fibre",
    "aluminum": "aluminium",
    "odors": "odour",
    "ebonized": "ebonised",
    "enameled": "enamelled",
    "gelatine": "gelatin",
    "canvases": "canvas",
    "leaves": "leaf",
    "boxes": "box",
    "gouaches": "gouache",
    "ivories": "ivory",
    "spies": "spy",
    "watches": "watch",
    "brushes": "brush",
    "glasses": "glass",
    "waxes": "wax",
    "prints": "print",
    "oils": "oil",
    "Füße": "fusse",
    "Giclée": "giclee",
    "chassis": "chassis",
    "papyrus": "papyrus",
    "brass": "brass",
    # Too short to be a plural.
    "ties": "tie",
    "axes": "axe",
    "gas": "gas",
    "artist's": "artists",
    "artist’s": "artist",
    "cut`s": "cut",
}


@pytest.mark.parametrize(("written", "form"), FORMS.items())
def test_spelling_case_accents_and_plural_make_no_difference(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: str, form: str
) -> None:
    book = medium_book(tmp_path, monkeypatch, f"medium,{form},wax,,,")
    assert book.read(written).meanings == (Material.WAX,)
    again = medium_book(tmp_path, monkeypatch, f"medium,{written},wax,,,")
    assert again.read(form).meanings == (Material.WAX,)


@pytest.mark.parametrize(
    ("known", "written"),
    [
        ("papyrus", "papyru"),
        ("chassis", "chassi"),
        ("brass", "bras"),
        ("gas", "ga"),
        ("ties", "ty"),
        ("axes", "ax"),
    ],
)
def test_an_ending_that_is_no_plural_is_part_of_the_word(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, known: str, written: str
) -> None:
    assert medium_book(tmp_path, monkeypatch, f"medium,{known},wax,,,").read(written).meanings == ()


@pytest.mark.parametrize(
    ("text", "joined"),
    [
        ("red-clay", True),
        ("red/clay", True),
        ("RED  CLAY", True),
        ("the red clay", True),
        ("a Red an Clay", True),
        ("red & clay", False),
        *((f"red{mark}clay", False) for mark in ",;:()[]{}|\r\n"),
        ("red. clay", False),
        ("red.clay", True),
    ],
)
def test_hyphens_part_words_and_stops_part_clauses(
    book: MediumBook, text: str, joined: bool
) -> None:
    reading = book.read(text)
    assert (reading.meanings == (CL,)) is joined
    assert (reading.rest == ()) is joined


def test_an_ampersand_a_plus_and_with_are_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = medium_book(tmp_path, monkeypatch, "medium,chalk with pot,wax,,,")
    for joined in ("chalk & pot", "chalk+pot", "chalk and pot"):
        assert book.read(joined).meanings == (P, CH)
    for joined in ("chalk w/ pot", "chalk W/ pot", "chalk with pot"):
        assert book.read(joined).meanings == (Material.WAX,)
    assert book.read("chalk w/pot").rest == ("w",)
    assert book.read("chalk & zib").rest == ("zib",)
    assert book.read("chalk_pot").rest == ()


# --- medium and damage ------------------------------------------------------------------------


def test_a_finding_is_complete_when_there_is_nothing_to_mend() -> None:
    assert MediumFinding((Material.WAX,), None, (), "").complete
    assert not MediumFinding((Material.WAX,), None, (), "x").complete
    assert DamageFinding((Damage.MUD,), (), "").complete
    assert not DamageFinding((Damage.MUD,), (), "x").complete


def test_nothing_written_asks_for_an_example_of_the_field() -> None:
    assert recognise_medium(" ") == MediumFinding((), None, (), BLANK_MEDIUM)
    assert recognise_damage(" ") == DamageFinding((), (), BLANK_DAMAGE)
    assert recognise_medium("qqqq").mend == f"Not understood: 'qqqq'. {BLANK_MEDIUM}"
    assert recognise_damage("qqqq").mend == f"Not understood: 'qqqq'. {BLANK_DAMAGE}"


def test_damage_and_none_in_one_line_is_neither() -> None:
    assert recognise_damage(" none, wet ") == DamageFinding(
        (), (), "'none, wet' says both damage and none; write one or the other."
    )
    long = "none, " + "wet " * 40
    assert recognise_damage(long).mend.startswith(f"'{long[:80]}' says both")
    assert recognise_damage("none").damages == (Damage.NONE_SEEN,)


# --- sizes ------------------------------------------------------------------------------------

EXAMPLE = "write it as '24 x 36 in.' or 'H. 61 cm; W. 91.4 cm'"
NO_UNIT = "no unit; add the unit, such as in. or cm"
ONE_NUMBER = "one number does not say what it measures; write 'H. 24 in.' or 'diam. 24 in.'"
FEET = "feet are not followed by inches; write feet and inches as 2' 6\""
TOO_LONG = "a measure is more than 30 m; check the number and its unit"
DIFFER = "a number has no unit and the others differ; give every number its unit"
NO_THOUSANDS = "is no number; write the number without thousands marks"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", f"no number in it; {EXAMPLE}"),
        (" ; ", f"no number in it; {EXAMPLE}"),
        ("framed", "'framed' has no measures; write 'framed: 24 x 36 in.'"),
        ("(sheet)", "'sheet' has no measures; write 'sheet: 24 x 36 in.'"),
        ("sheet framed 3 x 4 cm", "'sheet' has no measures; write 'sheet: 24 x 36 in.'"),
        ("3 x 4 cm sheet framed", "'framed' has no measures; write 'framed: 24 x 36 in.'"),
        ("image: 3 x 4 cm sheet", "'sheet' has no measures; write 'sheet: 24 x 36 in.'"),
        ("24 x 36", NO_UNIT),
        ("diam. 30", NO_UNIT),
        ("24 in", ONE_NUMBER),
        ("1 2 cm", ONE_NUMBER),
        ("24 x 36 in. (61 cm)", ONE_NUMBER),
        ("12.5 1/2 x 3 in", ONE_NUMBER),
        ("3.5-4 x 2 cm", ONE_NUMBER),
        ("0 x 3 cm", "a measure is 0; leave it out or write a size above 0"),
        ("-5 x 3 cm", "a measure cannot be negative; write a size above 0"),
        ("31 x 2 m", TOO_LONG),
        ("30.001 x 1 m", TOO_LONG),
        ("30001 x 2 mm", TOO_LONG),
        ("99 x 1 ft", TOO_LONG),
        ("0.0000001 x 2 mm", "a measure is too small; check the number and its unit"),
        ("24-36 in", "a range is no size; write one measure, the largest"),
        ("12 - x 3 in", "a range is no size; write one measure, the largest"),
        (
            "24/36 in",
            "'24/36' is no fraction of a ruler; "
            "write '24 x 36' for two measures, or a fraction such as 1/2",
        ),
        ("1,200 x 900 mm", "'1,200' can be 1200 or 1.200; write 1200 or 1.200"),
        ("100,000 x 9 mm", "'100,000' can be 100000 or 100.000; write 100000 or 100.000"),
        ("1.2.3 x 4 cm", f"'1.2.3' {NO_THOUSANDS}"),
        ("1,234,567 x 4 cm", f"'1,234,567' {NO_THOUSANDS}"),
        ("1,23.5 x 4 cm", f"'1,23.5' is no number; {EXAMPLE}"),
        ("1.23,5 x 4 cm", f"'1.23,5' is no number; {EXAMPLE}"),
        ("1234,567.8 x 4 cm", f"'1234,567.8' is no number; {EXAMPLE}"),
        (
            "24 x 36 in. (61 x 81.4 cm)",
            "0.9144 m and 0.814 m are given for the same measure; "
            "correct one, or say what each is: 'sheet: ...; image: ...'",
        ),
        (
            "H. 10 m (H. 20 m)",
            "10 m and 20 m are given for the same measure; "
            "correct one, or say what each is: 'sheet: ...; image: ...'",
        ),
        ("3 x 4 cm (3 x 4 cm", f"'the end' is not expected in a bracket; {EXAMPLE}"),
        ("3 x 4 cm (3 x 4 cm; 5)", f"';' is not expected in a bracket; {EXAMPLE}"),
        ("3 x 4 cm (3 x 4 cm 1/2)", f"'1/2' is not expected in a bracket; {EXAMPLE}"),
        ("3 x 4 cm (3 x 4 cm 5)", f"'5' is not expected in a bracket; {EXAMPLE}"),
        ("3 x 4 cm )", f"a number is missing before ')'; {EXAMPLE}"),
        (
            "H. 12 x 10 in.",
            "some numbers are labelled and some not; label all: 'H. 24 x W. 36 in.'",
        ),
        ("H. 12 x H. 10 in.", f"one label is given twice; {EXAMPLE}"),
        ("H. 12 W in.", f"'h' and 'w' label one number; {EXAMPLE}"),
        ("1 x 2 x 3 x 4 cm", "more than three numbers; give height x width x depth"),
        ("24 x cm", f"a number is missing before 'cm'; {EXAMPLE}"),
        ("24cmxcm", f"a number is missing before 'cm'; {EXAMPLE}"),
        ("24 x 36 cm x", f"a number is missing before 'the end'; {EXAMPLE}"),
        ("2' 6 x 3'", FEET),
        ("2' 12\" x 3'", FEET),
        ("2' 6 cm x 3'", FEET),
        ("24 x 36 ells", f"'ells' is not understood; {EXAMPLE}"),
        ("24 hxq 36", f"'hxq' is not understood; {EXAMPLE}"),
        ("24 qxw 36", f"'qxw' is not understood; {EXAMPLE}"),
        ("24 x 36 cm €", f"'€' is not understood; {EXAMPLE}"),
        ("24 in x 91 cm x 3", DIFFER),
        ("24 x 36 (61 cm x 24 in)", DIFFER),
        ("1 " * 150 + "1", "it is too long to be a size; keep only the size in this place"),
    ],
)
def test_a_size_that_is_not_sure_says_why_and_how_to_mend_it(text: str, said: str) -> None:
    with pytest.raises(SizeError) as caught:
        recognise_size(text)
    assert str(caught.value) == f"size '{text[:80]}': {said}."
    assert caught.value.text == text
    assert f"{caught.value.why}; {caught.value.mend}" == said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", f"a number is missing before 'the end'; {EXAMPLE}"),
        ("(3 cm)", f"a number is missing before '('; {EXAMPLE}"),
        ("61", NO_UNIT),
        ("61 x 91 cm", "more than one number; give one number in this place"),
        ("61 cm, 4", "more than one number; give one number in this place"),
        ("0 cm", "a measure is 0; leave it out or write a size above 0"),
    ],
)
def test_a_cell_for_one_measure_holds_one(text: str, said: str) -> None:
    with pytest.raises(SizeError) as caught:
        recognise_length(text)
    assert str(caught.value) == f"size '{text}': {said}."


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("61", "0.61"),
        ("H. 61", "0.61"),
        ("61 wide", "0.61"),
        ("61 in", "1.5494"),
        ("2'", "0.6096"),
    ],
)
def test_the_unit_of_the_column_holds_only_where_none_is_written(text: str, metres: str) -> None:
    assert recognise_length(text, LengthUnit.CENTIMETRE) == Decimal(metres)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("30 m", "30"),
        ("30000 mm", "30"),
        ("3000 cm", "30"),
        ("98 ft", "29.8704"),
        ("0.000001 mm", "0.000000001"),
        # The nanometre is the last place kept: 1/64 in. is 0.396875 mm exactly.
        ("1/64 in", "0.000396875"),
        ("0.0000016 mm", "0.000000002"),
        ("30 m.", "30"),
        (". 30 m", "30"),
        ("30 m .", "30"),
        ("1234,500 mm", "1.2345"),
        ("0,125 m", "0.125"),
        ("12,5 cm", "0.125"),
        ("1,234.5 mm", "1.2345"),
        ("1.234,5 mm", "1.2345"),
        ("12,345.6 mm", "12.3456"),
        ("1.234 m", "1.234"),
        ("2 ft 6 in", "0.762"),
        ("2' 11 63/64\"", "0.914003125"),
        ("2' 1/2\"", "0.6223"),
        ("3- 1/2 in", "0.0889"),
        ("1 metre", "1"),
        ("5 feet", "1.524"),
        ("3 \u2033", "0.0762"),
        ("3''", "0.0762"),
        ("h = 3 cm", "0.03"),
    ],
)
def test_the_ends_of_what_a_measure_may_be(text: str, metres: str) -> None:
    assert recognise_length(text) == Decimal(metres)
    assert str(recognise_length(text)) == str(Decimal(metres).normalize())


@pytest.mark.parametrize("bottom", [2, 3, 4, 5, 6, 8, 10, 12, 16, 32, 64])
def test_the_fractions_of_a_ruler_are_read(bottom: int) -> None:
    for top in (1, bottom - 1):
        inches = Decimal(top) / bottom
        expected = (inches * Decimal("0.0254")).quantize(Decimal("1e-9"))
        assert recognise_length(f"{top}/{bottom} in") == expected
    for top in (0, bottom, bottom + 1):
        with pytest.raises(SizeError, match="is no fraction of a ruler"):
            recognise_length(f"{top}/{bottom} in")


@pytest.mark.parametrize("bottom", [0, 1, 7, 9, 11, 15, 20, 24, 100, 128])
def test_no_other_fraction_is_on_a_ruler(bottom: int) -> None:
    with pytest.raises(SizeError, match=f"^size '1/{bottom} in': '1/{bottom}' is no fraction"):
        recognise_length(f"1/{bottom} in")


def test_a_text_of_three_hundred_characters_may_still_be_a_size() -> None:
    text = "24 x 36 in."
    assert recognise_size(text.ljust(300)) == recognise_size(text)
    with pytest.raises(SizeError, match="too long"):
        recognise_size(text.ljust(301))


@pytest.mark.parametrize(
    ("text", "agrees"),
    [
        # Each figure may be half of its last place off: 2 and 3 cm meet at 2.5.
        ("H. 2 cm (H. 3 cm)", True),
        ("H. 2.0 cm (H. 3 cm)", False),
        ("H. 2.0 cm (H. 2.1 cm)", True),
        ("H. 2.0 cm (H. 2.2 cm)", False),
        ("H. 3 cm (H. 2 cm)", True),
        # 12 1/2 in. is 317.5 mm, give or take half of a half inch, 6.35 mm, and 0.5 mm.
        ("H. 12 1/2 in. (H. 32.5 cm)", False),
        ("H. 12 1/2 in. (H. 32.4 cm)", True),
        ("H. 1 ft (H. 45 cm)", True),
        ("H. 1 ft (H. 46.1 cm)", False),
        ("H. 1' 6\" (H. 47.5 cm)", False),
        ("H. 1' 6\" (H. 47 cm)", True),
    ],
)
def test_two_figures_for_one_measure_agree_within_half_their_last_places(
    text: str, agrees: bool
) -> None:
    if agrees:
        assert recognise_size(text) == recognise_size(text.partition(" (")[0])
    else:
        with pytest.raises(SizeError, match="are given for the same measure"):
            recognise_size(text)


def sized(part: SizePart, *metres: str) -> PartSize:
    return PartSize(part, *(Decimal(one) for one in metres))


WHOLE = SizePart.WHOLE


@pytest.mark.parametrize(
    ("text", "sizes"),
    [
        ("canvas: 3 x 4 cm", [sized(WHOLE, "0.03", "0.04")]),
        ("= 3 x 4 cm", [sized(WHOLE, "0.03", "0.04")]),
        ("(3 x 4 cm)", [sized(WHOLE, "0.03", "0.04")]),
        ("3 x 4 x 5 cm [1 x 2 x 2 in]", [sized(WHOLE, "0.03", "0.04", "0.05")]),
        (
            "mat 5 x 6 cm; sight 3 x 4 cm",
            [sized(SizePart.MOUNT, "0.05", "0.06"), sized(SizePart.SIGHT, "0.03", "0.04")],
        ),
        (
            "3 x 4 cm (plate); 5 x 6 cm (sheet); 7 x 8 cm (overall)",
            [
                sized(SizePart.OVERALL, "0.07", "0.08"),
                sized(SizePart.SHEET, "0.05", "0.06"),
                sized(SizePart.PLATE, "0.03", "0.04"),
            ],
        ),
        # The second unit of a part is of the same part.
        (
            "sheet: 3 x 4 in. (7.6 x 10.2 cm); image: 2 x 3 in.",
            [sized(SizePart.SHEET, "0.0762", "0.1016"), sized(SizePart.IMAGE, "0.0508", "0.0762")],
        ),
    ],
)
def test_sizes_of_parts_are_told_the_outermost_first(text: str, sizes: list[PartSize]) -> None:
    finding = recognise_size(text)
    assert list(finding.sizes) == sizes
    assert finding.outer == sizes[0]


@pytest.mark.parametrize(
    ("text", "height", "width"),
    [
        ("24 in x 36", "0.6096", "0.9144"),
        ("24 x 36 in", "0.6096", "0.9144"),
        ("24 x 36; diam. 3 in", "0.6096", "0.9144"),
        ("W 36 x H 24 in", "0.6096", "0.9144"),
        ("24 h in x 36 w in", "0.6096", "0.9144"),
        ("24 in h x 36 in w", "0.6096", "0.9144"),
        ("24 h in x 36 w cm", "0.6096", "0.36"),
        ("H: 24 W: 36 in", "0.6096", "0.9144"),
        ("approx. 24 x 36 in", "0.6096", "0.9144"),
        ("approximately 24 x 36 in", "0.6096", "0.9144"),
        ("about 24 by approx 36 in", "0.6096", "0.9144"),
        ("circa 24 x ca. 36 in", "0.6096", "0.9144"),
        ("24½ x 36¼ in", "0.6223", "0.92075"),
        ("24 ½ x 36 ¼ in", "0.6223", "0.92075"),
        ("24–1/2 x 36‑1/4 in", "0.6223", "0.92075"),
        ("24 „ x 36 ”", "0.6096", "0.9144"),
        ("2’ x 3´", "0.6096", "0.9144"),
        ("24inx36in", "0.6096", "0.9144"),
        ("24 ✕ 36 in", "0.6096", "0.9144"),
    ],
)
def test_a_size_is_read_however_it_is_written(text: str, height: str, width: str) -> None:
    outer = recognise_size(text).outer
    assert (outer.height_m, outer.width_m) == (Decimal(height), Decimal(width))


def test_a_measure_that_was_not_given_is_none() -> None:
    outer = recognise_size("diam. 30 cm; L. 2 m").outer
    assert outer == PartSize(WHOLE, None, None, None, Decimal("0.3"), Decimal(2))
    assert outer.measures == {"diameter_m": Decimal("0.3"), "length_m": Decimal(2)}
    assert PartSize(WHOLE).measures == {}
