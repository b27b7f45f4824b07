"""Free text into materials, damages and measures.

The media are worded as museum and gallery catalogues word them; which material each belongs to is
common practice, no source. The inch is 25.4 mm exactly and the foot 304.8 mm (NIST Special
Publication 811, 2008, Appendix B).
"""

import csv
import pickle
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import shared.recognise
from shared.quantities import LengthUnit
from shared.recognise import (
    PartSize,
    SizeError,
    SizePart,
    recognise_damage,
    recognise_length,
    recognise_medium,
    recognise_size,
    words_for_materials,
)
from shared.vocabulary import Damage, Material, ObjectType

TABLE = Path(shared.recognise.__file__).parent / "tables" / "recognition.csv"
ROWS = list(csv.DictReader(TABLE.open(encoding="utf-8", newline="")))

# --- medium -----------------------------------------------------------------------------------

MEDIA = {
    "oil on canvas": "oil_canvas",
    "Oil on Canvas.": "oil_canvas",
    "OIL ON LINEN": "oil_canvas",
    "o/c": "oil_canvas",
    "oil/canvas": "oil_canvas",
    "oil, on canvas": "oil_canvas",
    "oil on canvas, wax-resin lined": "oil_canvas_wax_lined",
    "oil on canvas (wax lined)": "oil_canvas_wax_lined",
    "oil on canvas, glue lined": "oil_canvas_glue_lined",
    "oil on canvas lined with hide glue": "oil_canvas_glue_lined",
    "oil and acrylic on canvas": "oil_canvas acrylic_canvas",
    "oil and gold leaf on canvas": "oil_canvas gilded_gesso",
    "oil and charcoal on canvas": "oil_canvas pastel",
    "oil on canvas in giltwood frame": "oil_canvas gilded_gesso",
    "acrylic on canvas": "acrylic_canvas",
    "acrylic and charcoal on paper": "acrylic_canvas pastel",
    "synthetic polymer paint on canvas": "acrylic_canvas",
    "oil painting on stretched canvas": "oil_canvas",
    "acrylic paint on panel": "acrylic_canvas wood",
    "oil on panel": "panel_painting",
    "oil on wood panel": "panel_painting",
    "oil on copper": "panel_painting copper_alloy",
    "tempera on panel": "panel_painting",
    "tempera and gold leaf on panel": "panel_painting gilded_gesso",
    "egg tempera and gold leaf on wood": "panel_painting gilded_gesso",
    "watercolour": "watercolour",
    "watercolor on paper": "watercolour",
    "Water-colour": None,
    "w/c": "watercolour",
    "w/c and gouache": "watercolour",
    "aquarelle": None,
    "gouache on vellum": "watercolour parchment",
    "pen and brown ink, watercolor, and gouache over black chalk on blue paper": (
        "watercolour pastel"
    ),
    "pen and ink on paper": "watercolour",
    "pastel on paper": "pastel",
    "pastel on paper laid down on canvas": "pastel textile",
    "charcoal and white chalk on grey paper": "pastel",
    "etching": "print_paper",
    "Etchings": "print_paper",
    "etching and aquatint on laid paper": "print_paper",
    "etching, hand-colored": "print_paper watercolour",
    "colour lithograph on wove paper": "print_paper",
    "color screenprint": "print_paper",
    "graphite on paper": "print_paper",
    "offset lithograph on coated paper": "coated_paper",
    "glossy magazines": "coated_paper",
    "bound volume": "bound_volume",
    "book, full calf": "leather_binding",
    "leather-bound books": "leather_binding",
    "ink on parchment": "watercolour parchment",
    "suede": "leather",
    "tintype": "wet_collodion",
    "ambrotypes": "wet_collodion",
    "wet collodion negative": "wet_collodion",
    "daguerreotype": "daguerreotype",
    "daguerreotype in leather case": "daguerreotype leather",
    "albumen print": "albumen",
    "albumen silver print from wet collodion negative": "albumen",
    "albumen silver prints from a glass negative": "albumen",
    "collodion printing-out paper": "collodion_print",
    "gelatin silver print": "silver_gelatin",
    "gelatin silver prints": "silver_gelatin",
    "silver gelatine print": "silver_gelatin",
    "gelatin silver print, hand coloured": "silver_gelatin watercolour",
    "Gelatin Silver Print, Hand-Colored": "silver_gelatin watercolour",
    "gelatin silver print from a nitrate negative": "silver_gelatin",
    "lantern slide": "glass_plate",
    "autochrome": "glass_plate",
    "chromogenic print": "chromogenic",
    "chromogenic print mounted on aluminium composite": "chromogenic other_metal",
    "chromogenic print, face-mounted to acrylic sheet": "chromogenic disc_plastic",
    "c-print": "chromogenic",
    "C-Print mounted on aluminum": "chromogenic other_metal",
    "dye transfer print": "dye_transfer",
    "cyanotype": "cyanotype",
    "photogravure": "cyanotype",
    "dye inkjet print": "inkjet_dye",
    "archival pigment print": "inkjet_pigment",
    "giclée pigment print": "inkjet_pigment",
    "film negatives": "film_negative",
    "safety film negative, vinegar syndrome": "nitrate_acetate",
    "nitrate film": "nitrate_acetate",
    "audio cassettes": "magnetic_media",
    "silk embroidery": "textile",
    "wool tapestry": "textile",
    "silk embroidery with metal thread": "textile_bleeding",
    "carved oak": "wood",
    "walnut veneer": "veneer",
    "mahogany with satinwood inlay": "wood veneer",
    "upholstered armchair": "upholstery",
    "giltwood": "gilded_gesso",
    "gilt wood and gesso frame": "gilded_gesso",
    "gilded oak frame": "gilded_gesso",
    "carved oak frame": "plain_frame",
    "plain wood frames": "plain_frame",
    "lacquer on wood": "lacquer",
    "ivory": "bone_ivory",
    "watercolour on ivory": "watercolour bone_ivory",
    "rattan": "basketry",
    "feathers": "fur_feather",
    "encaustic on panel": "wax wood",
    "wrought iron": "iron",
    "bronze with brown patina": "copper_alloy",
    "gilt bronze and marble": "copper_alloy marble_alabaster",
    "sterling silver": "silver",
    "pewter": "other_metal",
    "porcelain": "ceramic_high",
    "glazed earthenware": "ceramic_low",
    "plaster of Paris": "plaster",
    "blown glass": "glass",
    "granite": "stone",
    "white marble": "marble_alabaster",
    "mantel clock": "clock_electronics",
    "vinyl records": "disc_plastic",
}

TYPES = {
    "oil on canvas": ObjectType.PAINTING,
    "gelatin silver print on paper": ObjectType.PHOTOGRAPH,
    "watercolour on paper": ObjectType.WORK_ON_PAPER,
    "gilt wood and gesso frame": ObjectType.FRAME,
    "oil on canvas in giltwood frame": ObjectType.PAINTING,
    "walnut veneer table": ObjectType.FURNITURE,
    "leather-bound book": ObjectType.BOOK,
    "carved oak": None,
}


@pytest.mark.parametrize(("text", "expected"), MEDIA.items())
def test_medium_is_read_as_catalogues_word_it(text: str, expected: str | None) -> None:
    finding = recognise_medium(text)
    if expected is None:
        assert not finding.complete
        assert finding.materials == ()
    else:
        assert [material.value for material in finding.materials] == expected.split()
        assert finding.complete
        assert finding.rest == ()


@pytest.mark.parametrize(("text", "expected"), TYPES.items())
def test_the_first_thing_named_gives_the_object_type(
    text: str, expected: ObjectType | None
) -> None:
    assert recognise_medium(text).object_type is expected


@pytest.mark.parametrize(
    ("text", "rest", "mend"),
    [
        ("mixed media", ("mixed media",), "name each material"),
        ("HC", ("HC",), "hors commerce"),
        ("oil", ("oil",), "'oil on canvas'"),
        ("photograph", ("photograph",), "say the process"),
        ("inkjet print", ("inkjet print",), "pigment inkjet print"),
        ("oil on canvas, lined", ("lined",), "wax-resin lined"),
        ("oil on canvas, framed", ("framed",), "gilt frame"),
        ("oil on canvas?", ("?",), "question mark"),
        ("oil or acrylic on canvas", ("or",), "not the choice"),
        ("oil on canvas with zibeline", ("zibeline",), "Not understood: 'zibeline'"),
        ("on paper", (), "names nothing by itself"),
        ("", (), "Name the medium"),
        (" , ;", (), "Name the medium"),
    ],
)
def test_what_says_too_little_is_handed_back_with_the_mend(
    text: str, rest: tuple[str, ...], mend: str
) -> None:
    finding = recognise_medium(text)
    assert not finding.complete
    assert finding.rest == rest
    assert mend in finding.mend


def test_a_slip_of_the_key_is_suggested_and_never_applied() -> None:
    finding = recognise_medium("gelatin slver print")
    assert finding.materials == ()
    assert "'gelatin silver print'" in finding.mend


@pytest.mark.parametrize("text", ["not gilded wood", "oil on canvas without glass", "no bronze"])
def test_a_denial_recognises_nothing(text: str) -> None:
    finding = recognise_medium(text)
    assert finding.materials == ()
    assert "write only what is there" in finding.mend


def test_a_phrase_does_not_reach_over_a_comma() -> None:
    assert set(recognise_medium("silver, gelatin, glass").materials) == {
        Material.SILVER,
        Material.GLASS,
    }
    assert recognise_medium("leather, glass, dry, plate").rest == ("dry",)


def test_every_material_can_be_written() -> None:
    reachable = {
        value for row in ROWS if row["field"] == "medium" for value in row["meanings"].split(";")
    }
    assert reachable >= {material.value for material in Material}


def test_every_damage_can_be_written() -> None:
    reachable = {
        value for row in ROWS if row["field"] == "damage" for value in row["meanings"].split(";")
    }
    assert reachable >= {damage.value for damage in Damage}


def test_the_table_is_large_and_says_where_each_row_comes_from() -> None:
    assert sum(bool(row["meanings"]) for row in ROWS) >= 200
    for row in ROWS:
        memory = "from memory" in row["source"]
        assert row["mark"] == ("from memory" if memory else "common practice"), row
        assert row["source"], row


@pytest.mark.parametrize(
    "row", [row for row in ROWS if row["meanings"]], ids=lambda row: row["phrase"]
)
def test_every_phrase_means_what_its_row_says(row: dict[str, str]) -> None:
    text = row["phrase"].replace(" ... ", " ").upper()
    expected = {value.strip() for value in row["meanings"].split(";")}
    if row["field"] == "medium":
        assert {str(m) for m in recognise_medium(text).materials} == expected
    else:
        assert {str(d) for d in recognise_damage(text).damages} == expected


COMPLETE = [text for text, expected in MEDIA.items() if expected]


@given(st.sampled_from(COMPLETE), st.sampled_from(COMPLETE))
def test_two_media_together_name_the_materials_of_both(one: str, other: str) -> None:
    together = recognise_medium(f"{one}; {other}")
    assert together.complete
    apart = {*recognise_medium(one).materials, *recognise_medium(other).materials}
    # A closer description may stand for a looser one ("book" beside "full calf"), never add one.
    assert set(together.materials) <= apart


@given(st.sampled_from(COMPLETE), st.text(alphabet="bdfgqvz", min_size=5, max_size=12))
def test_a_word_that_is_not_known_is_never_dropped(medium: str, word: str) -> None:
    finding = recognise_medium(f"{medium}, {word}")
    assert not finding.complete
    assert word in finding.rest


@given(st.text(max_size=200))
def test_any_text_is_read_without_an_error(text: str) -> None:
    medium, damage = recognise_medium(text), recognise_damage(text)
    assert medium.complete == (not medium.mend)
    assert medium.complete <= bool(medium.materials)
    assert damage.complete <= bool(damage.damages)


# --- damage -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("smoke", "smoke_odour"),
        ("water damage", "soaked"),
        ("sooty", "soot_dry"),
        ("mould", "mould_visible"),
        ("MOLD", "mould_visible"),
        ("wet", "soaked"),
        ("wet, moldy", "soaked mould_visible"),
        ("smoke/water", "smoke_odour soaked"),
        ("smells of smoke; glass broken", "smoke_odour broken_glazing"),
        ("slightly damp, musty smell", "damp mould_suspected"),
        ("greasy soot and smoke odor", "soot_wet smoke_odour"),
        ("charred frame", None),
        ("no damage", "none_seen"),
        ("no visible damage", "none_seen"),
        ("no water damage", None),
        ("fire damage", None),
        ("none, wet", None),
        ("mould?", None),
    ],
)
def test_damage_is_read_as_crews_write_it(text: str, expected: str | None) -> None:
    finding = recognise_damage(text)
    assert finding.complete is (expected is not None)
    if expected:
        assert [damage.value for damage in finding.damages] == expected.split()


def test_denied_or_contradictory_damage_is_not_half_read() -> None:
    assert recognise_damage("no water damage").damages == ()
    assert recognise_damage("none, wet").damages == ()


# --- size -------------------------------------------------------------------------------------

# Height, width, depth, diameter, length in mm, or None.
SIZES: dict[str, tuple[str | None, ...]] = {
    "24 x 36 in.": ("609.6", "914.4"),
    "24x36in": ("609.6", "914.4"),
    "24 X 36 IN": ("609.6", "914.4"),
    "24in x 36in": ("609.6", "914.4"),
    '24" x 36"': ("609.6", "914.4"),
    '24"x36"': ("609.6", "914.4"),
    "24″ × 36″": ("609.6", "914.4"),
    "24'' x 36''": ("609.6", "914.4"),
    "24 by 36 inches": ("609.6", "914.4"),
    "24 in. by 36 in.": ("609.6", "914.4"),
    "24 * 36 inch": ("609.6", "914.4"),
    "24 x 36 x 2 in.": ("609.6", "914.4", "50.8"),
    "24 in x 36": ("609.6", "914.4"),
    "61 × 91.4 cm": ("610", "914"),
    "61x91.4cm": ("610", "914"),
    "61cmx91,4cm": ("610", "914"),
    "61,5 × 91,4 cm": ("615", "914"),
    "61,5 x 91,4 x 3,2 cm": ("615", "914", "32"),
    "610 x 914 mm": ("610", "914"),
    "1.2 x 2 m": ("1200", "2000"),
    "0,125 x 0,25 m": ("125", "250"),
    "1,234.5 x 900 mm": ("1234.5", "900"),
    "1.234,5 x 900 mm": ("1234.5", "900"),
    ".5 x .75 in.": ("12.7", "19.05"),
    "12 1/2 x 10 in.": ("317.5", "254"),
    "12½ x 10¾ in.": ("317.5", "273.05"),
    "12 ½ x 10 ¾ in.": ("317.5", "273.05"),
    "12-1/2 in. x 10-3/4 in.": ("317.5", "273.05"),
    "1/2 x 3/4 in.": ("12.7", "19.05"),
    "½ × ¾ in.": ("12.7", "19.05"),
    "12⅛ x 10⅝ in.": ("307.975", "269.875"),
    "12 1/16 x 9 31/32 in.": ("306.3875", "253.20625"),
    "2' 6\" x 3'": ("762", "914.4"),
    "2'6\" x 3'4\"": ("762", "1016"),
    "2′ 6½″ × 3′ 4″": ("774.7", "1016"),
    "2 ft 6 in x 3 ft": ("762", "914.4"),
    "2 ft. 6 in. by 3 ft. 4 1/2 in.": ("762", "1028.7"),
    "2 feet x 3 feet": ("609.6", "914.4"),
    "H. 12 1/2 in.": ("317.5",),
    "H. 12 1/2 in., W. 10 in.": ("317.5", "254"),
    "H: 30 cm W: 20 cm D: 10 cm": ("300", "200", "100"),
    "W. 10 in.": (None, "254"),
    "W. 20 x H. 30 cm": ("300", "200"),
    "H 24 W 36 in": ("609.6", "914.4"),
    "height 30 cm; width 20 cm; depth 10 cm": ("300", "200", "100"),
    "30 cm high, 20 cm wide": ("300", "200"),
    '24"h x 36"w': ("609.6", "914.4"),
    "24 h x 36 w x 10 d in.": ("609.6", "914.4", "254"),
    "24hx36w in": ("609.6", "914.4"),
    "36 W x 24 H cm": ("240", "360"),
    "diam. 30 cm": (None, None, None, "300"),
    "Ø 30 cm": (None, None, None, "300"),
    "dia 12 in": (None, None, None, "304.8"),
    "30 cm diameter": (None, None, None, "300"),
    "H. 30 cm; diam. 12 cm": ("300", None, None, "120"),
    "L. 2 m": (None, None, None, None, "2000"),
    "L 60 x W 30 x H 18 cm": ("180", "300", None, None, "600"),
    "24 x 36 in. (61 x 91.4 cm)": ("609.6", "914.4"),
    "61 x 91.4 cm (24 x 36 in.)": ("610", "914"),
    "61 × 91.4 cm [24 × 36 in.]": ("610", "914"),
    "24 x 36 in. / 61 x 91.4 cm": ("609.6", "914.4"),
    "12 1/2 × 10 in. (31.8 × 25.4 cm)": ("317.5", "254"),
    "H. 12 1/2 in. (31.8 cm); W. 10 in. (25.4 cm)": ("317.5", "254"),
    "diam. 12 in. (30.5 cm)": (None, None, None, "304.8"),
    "24 in. x 91 cm": ("609.6", "910"),
    "approx. 24 x 36 in.": ("609.6", "914.4"),
    "c. 61 x 91 cm": ("610", "910"),
    "30 x 1 m": ("30000", "1000"),
}
NAMES = ("height_m", "width_m", "depth_m", "diameter_m", "length_m")


@pytest.mark.parametrize(("text", "expected_mm"), SIZES.items())
def test_size_is_read_as_catalogues_word_it(text: str, expected_mm: tuple[str | None, ...]) -> None:
    expected = {
        name: Decimal(mm) / 1000 for name, mm in zip(NAMES, expected_mm, strict=False) if mm
    }
    finding = recognise_size(text)
    assert len(finding.sizes) == 1
    assert finding.outer.part is SizePart.WHOLE
    assert finding.outer.measures == expected


def test_sizes_of_parts_are_kept_apart_the_outermost_first() -> None:
    finding = recognise_size("sheet: 24 x 36 cm; image: 20 x 30 cm; framed: 30 x 42 x 4 cm")
    assert finding.sizes == (
        PartSize(SizePart.FRAMED, Decimal("0.3"), Decimal("0.42"), Decimal("0.04")),
        PartSize(SizePart.SHEET, Decimal("0.24"), Decimal("0.36")),
        PartSize(SizePart.IMAGE, Decimal("0.2"), Decimal("0.3")),
    )


@pytest.mark.parametrize(
    "text",
    [
        "sheet 24 x 36 cm, framed 30 x 42 cm",
        "24 x 36 cm (sheet), 30 x 42 cm (framed)",
        "24 x 36 cm sheet; 30 x 42 cm framed",
        "Sheet: H. 24 cm; W. 36 cm. Framed: H. 30 cm; W. 42 cm",
    ],
)
def test_a_part_may_stand_before_or_behind_its_size(text: str) -> None:
    framed, sheet = recognise_size(text).sizes
    assert (framed.part, framed.height_m, framed.width_m) == (
        SizePart.FRAMED,
        Decimal("0.3"),
        Decimal("0.42"),
    )
    assert (sheet.part, sheet.height_m, sheet.width_m) == (
        SizePart.SHEET,
        Decimal("0.24"),
        Decimal("0.36"),
    )


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "no number"),
        ("framed", "no measures"),
        ("24 x 36", "no unit"),
        ("24", "does not say what it measures"),
        ("24 in", "does not say what it measures"),
        ("24 in x 91 cm x 3", "no unit"),
        ("0 x 3 cm", "is 0"),
        ("-5 x 3 cm", "negative"),
        ("31 x 2 m", "more than 30 m"),
        ("9999999999 x 2 mm", "more than 30 m"),
        ("24-36 in", "range"),
        ("24/36 in", "no fraction"),
        ("12 1/0 x 3 in", "no fraction"),
        ("12 3/2 x 3 in", "no fraction"),
        ("1,200 x 900 mm", "1200 or 1.200"),
        ("1.2.3 x 4 cm", "no number"),
        ("24 x 36 in. (61 x 81.4 cm)", "given for the same measure"),
        ("24 x 36 in., 12 x 10 in.", "given for the same measure"),
        ("24 x 36 in. (61 cm)", "does not say what it measures"),
        ("24 x 36 in. (61 x 91.4 cm", "bracket"),
        ("H. 12 x 10 in.", "some not"),
        ("H. 12 x H. 10 in.", "twice"),
        ("H. 12 W in.", "label one number"),
        ("1 x 2 x 3 x 4 cm", "more than three"),
        ("24 x cm", "missing"),
        ("24 x 36 cm x", "missing"),
        ("2' 6 x 3'", "feet are not followed"),
        ("2' 13\" x 3'", "feet are not followed"),
        ("24 x 36 ells", "'ells'"),
        ("large", "'large'"),
        ("24 x 36 cm €", "'€'"),
        ("1 " * 200, "too long"),
    ],
)
def test_a_size_that_is_not_sure_is_refused_with_the_mend(text: str, why: str) -> None:
    with pytest.raises(SizeError) as caught:
        recognise_size(text)
    assert why in caught.value.why
    assert caught.value.mend
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)


def test_a_unit_given_beside_the_text_holds_where_the_text_has_none() -> None:
    assert recognise_size("24 x 36", LengthUnit.INCH) == recognise_size("24 x 36 in.")
    assert recognise_size("24 x 36 cm", LengthUnit.INCH) == recognise_size("24 x 36 cm")


def test_a_single_measure() -> None:
    assert recognise_length("61,5", LengthUnit.CENTIMETRE) == Decimal("0.615")
    assert recognise_length("2' 6\"", LengthUnit.CENTIMETRE) == Decimal("0.762")
    with pytest.raises(SizeError, match="no unit"):
        recognise_length("61.5")
    with pytest.raises(SizeError, match="more than one number"):
        recognise_length("61 x 91 cm")


METRES = {"mm": Decimal("0.001"), "cm": Decimal("0.01"), "m": Decimal(1), "in.": Decimal("0.0254")}


@st.composite
def written_lengths(draw: st.DrawFn) -> tuple[str, Decimal]:
    """A length as written with its unit, and in m."""
    style = draw(st.sampled_from(["decimal", "comma", "fraction", "feet"]))
    if style in {"decimal", "comma"}:
        unit = draw(st.sampled_from(sorted(METRES)))
        number = draw(st.decimals("0.1", "29.9", places=1))
        written = str(number).replace(".", "," if style == "comma" else ".")
        return f"{written} {unit}", number * METRES[unit]
    whole, sixteenths = draw(st.integers(1, 11)), draw(st.integers(1, 15))
    inches = Decimal(whole) + Decimal(sixteenths) / 16
    if style == "fraction":
        gap = draw(st.sampled_from([" ", "-"]))
        return f"{whole}{gap}{sixteenths}/16 in.", inches * METRES["in."]
    feet = draw(st.integers(1, 80))
    return f"{feet}' {whole} {sixteenths}/16\"", (feet * 12 + inches) * METRES["in."]


@given(st.lists(written_lengths(), min_size=2, max_size=3), st.sampled_from([" x ", "×", " by "]))
def test_a_written_size_reads_back(lengths: list[tuple[str, Decimal]], times: str) -> None:
    outer = recognise_size(times.join(written for written, _ in lengths)).outer
    assert list(outer.measures.values()) == [metres for _, metres in lengths]


@given(st.integers(4, 400), st.integers(4, 400), st.sampled_from([-2, 2]))
def test_a_second_unit_must_agree_within_rounding(high: int, wide: int, slip_cm: int) -> None:
    inches = [Decimal(quarters) / 4 for quarters in (high, wide)]
    cm = [(value * Decimal("2.54")).quantize(Decimal("0.1")) for value in inches]
    first = f"{inches[0]} x {inches[1]} in."
    assert recognise_size(f"{first} ({cm[0]} x {cm[1]} cm)") == recognise_size(first)
    with pytest.raises(SizeError, match="same measure"):
        recognise_size(f"{first} ({cm[0]} x {cm[1] + slip_cm} cm)")


SIZE_ALPHABET = "0123456789 .,/-'\"x×½⅓()[];:hwdlinftcmm"
SIZE_WORDS = ["24", "1/2", "12,5", "in.", "cm", "ft", "'", '"', "x", "(", ")", "H.", "diam", "-"]


@given(
    st.one_of(
        st.text(max_size=400),
        st.text(alphabet=SIZE_ALPHABET, max_size=40),
        st.lists(st.sampled_from([*SIZE_WORDS, "sheet:", "framed", ";", "0"])).map(" ".join),
    ),
    st.sampled_from([None, *LengthUnit]),
)
def test_any_text_is_a_possible_size_or_a_size_error(text: str, unit: LengthUnit | None) -> None:
    for read in (recognise_size, recognise_length):
        try:
            result = read(text, unit)
        except SizeError as error:
            assert error.why
            assert error.mend
            continue
        lengths = (
            [result]
            if isinstance(result, Decimal)
            else [value for size in result.sizes for value in size.measures.values()]
        )
        assert lengths
        assert all(0 < length <= 30 for length in lengths)


def test_a_material_may_be_looked_for_by_every_word_that_means_it_alone() -> None:
    words = words_for_materials()
    assert "serigraph" in words[Material.PRINT_PAPER]
    assert "oak" in words[Material.WOOD]
    for material, found in words.items():
        assert list(found) == sorted(set(found))
        assert all(len(word) >= 3 and word == word.lower() for word in found), material
    # "Wax-resin lined" is said of a painting that is named as well: it is no name of a painting.
    assert "lined" not in words[Material.OIL_CANVAS]
