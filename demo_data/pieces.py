"""Invented pieces: what hung, stood and lay in the rooms before anything happened to them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum, auto
from random import Random
from typing import Final

from shared.events import Length, LengthUnit, Money, Size
from shared.vocabulary import Material as Mat
from shared.vocabulary import ObjectType as T
from shared.vocabulary import PartRole, Significance, ValueBasis

CURRENCY: Final = "USD"

Range = tuple[float, float]


class Look(StrEnum):
    """What a piece is drawn as."""

    PAINTING = auto()
    PAPER = auto()
    PHOTOGRAPH = auto()
    COLOUR_PHOTOGRAPH = auto()
    CASED_PHOTOGRAPH = auto()
    GLASS_PLATE = auto()
    NEGATIVES = auto()
    FRAME = auto()
    BOOK = auto()
    DOCUMENT = auto()
    TEXTILE = auto()
    CHAIR = auto()
    ARMCHAIR = auto()
    CHEST = auto()
    VASE = auto()
    BOWL = auto()
    PLATES = auto()
    GOBLET = auto()
    FIGURE = auto()
    CLOCK = auto()
    REEL = auto()
    DISC = auto()
    BASKET = auto()
    BIRD = auto()
    JUG = auto()
    LANTERN = auto()
    BOX = auto()


class Mount(StrEnum):
    """How a flat piece is framed."""

    NONE = auto()
    GILT = auto()
    GILT_GLAZED = auto()
    PLAIN = auto()
    PLAIN_GLAZED = auto()

    @property
    def glazed(self) -> bool:
        """Whether there is glass over the face."""
        return self in {Mount.GILT_GLAZED, Mount.PLAIN_GLAZED}

    @property
    def material(self) -> Mat | None:
        """What the frame is made of."""
        if self is Mount.NONE:
            return None
        return Mat.GILDED_GESSO if self in {Mount.GILT, Mount.GILT_GLAZED} else Mat.PLAIN_FRAME


@dataclass(frozen=True)
class Kind:
    """One kind of piece: ranges in cm and in whole units of the currency."""

    look: Look
    object_type: T
    materials: tuple[Mat, ...]
    media: tuple[str, ...]
    height_cm: Range
    width_cm: Range
    depth_cm: Range | None
    value: Range
    fire: int
    flood: int
    names: tuple[str, ...] = ()
    mounts: tuple[Mount, ...] = (Mount.NONE,)
    sets: tuple[int, ...] = (1,)
    base: Mat | None = None
    fragile: bool = False
    conservator_only: bool = False


@dataclass(frozen=True)
class PartPiece:
    """A part with a tag of its own."""

    role: PartRole
    object_type: T
    materials: tuple[Mat, ...]
    medium: str
    size: Size | None


@dataclass(frozen=True)
class Valued:
    """What a piece is worth, and on whose word."""

    basis: ValueBasis
    value: Money


@dataclass(frozen=True)
class Piece:
    """An invented piece, before the loss. Sizes are outside measures, as a crew would write."""

    look: Look
    object_type: T
    materials: tuple[Mat, ...]
    title: str
    maker: str
    period: str
    subject: str
    medium: str
    inscriptions: str
    features: str
    size: Size
    quantity: int
    significance: Significance
    conservator_only: bool
    valued: Valued | None
    mount: Mount
    fragile: bool
    parts: tuple[PartPiece, ...]
    height_cm: float
    width_cm: float


_ON_WALL: Final = (Mount.GILT, Mount.GILT, Mount.PLAIN)
_UNDER_GLASS: Final = (Mount.PLAIN_GLAZED, Mount.PLAIN_GLAZED, Mount.GILT_GLAZED, Mount.NONE)

KINDS: Final = (
    # look, type, materials, media, height, width, depth, value, fire, flood
    Kind(Look.PAINTING, T.PAINTING, (Mat.OIL_CANVAS,), ("Oil on canvas", "Oil on linen canvas"),
         (30, 140), (35, 160), (3, 8), (600, 48_000), 30, 10, mounts=_ON_WALL),
    Kind(Look.PAINTING, T.PAINTING, (Mat.OIL_CANVAS_GLUE_LINED,),
         ("Oil on canvas, hide glue lining",),
         (50, 130), (60, 150), (4, 9), (2_500, 60_000), 8, 4, mounts=_ON_WALL),
    Kind(Look.PAINTING, T.PAINTING, (Mat.OIL_CANVAS_WAX_LINED,),
         ("Oil on canvas, wax-resin lining",),
         (50, 110), (60, 130), (4, 9), (2_500, 40_000), 4, 2, mounts=_ON_WALL),
    Kind(Look.PAINTING, T.PAINTING, (Mat.ACRYLIC_CANVAS,), ("Acrylic on canvas",),
         (50, 180), (50, 180), (3, 5), (400, 15_000), 12, 3, mounts=(Mount.NONE, Mount.PLAIN)),
    Kind(Look.PAINTING, T.PAINTING, (Mat.PANEL_PAINTING,),
         ("Oil on wood panel", "Tempera on wood panel"),
         (20, 70), (18, 60), (3, 7), (1_500, 70_000), 5, 3, mounts=_ON_WALL),
    Kind(Look.PAPER, T.WORK_ON_PAPER, (Mat.WATERCOLOUR,),
         ("Watercolour on paper", "Gouache on paper", "Pen, iron gall ink and wash"),
         (25, 70), (30, 80), (2, 4), (200, 9_000), 18, 8, mounts=_UNDER_GLASS),
    Kind(Look.PAPER, T.WORK_ON_PAPER, (Mat.PASTEL,),
         ("Pastel on paper", "Charcoal and white chalk on paper"),
         (35, 75), (30, 65), (2, 4), (300, 12_000), 6, 2, mounts=_UNDER_GLASS),
    Kind(Look.PAPER, T.WORK_ON_PAPER, (Mat.PRINT_PAPER,),
         ("Etching", "Lithograph", "Woodcut", "Engraving, hand press", "Graphite on paper"),
         (20, 80), (20, 70), (2, 3), (80, 4_000), 20, 12, mounts=_UNDER_GLASS, sets=(1, 1, 1, 6)),
    Kind(Look.PAPER, T.WORK_ON_PAPER, (Mat.COATED_PAPER,), ("Offset lithograph on coated paper",),
         (60, 100), (42, 70), None, (40, 900), 4, 4),
    Kind(Look.PHOTOGRAPH, T.PHOTOGRAPH, (Mat.SILVER_GELATIN,),
         ("Gelatin silver print", "Gelatin silver print, hand coloured"),
         (20, 50), (25, 60), (2, 3), (100, 6_000), 12, 8, mounts=_UNDER_GLASS, sets=(1, 1, 4)),
    Kind(Look.PHOTOGRAPH, T.PHOTOGRAPH, (Mat.ALBUMEN,), ("Albumen print on card",),
         (15, 30), (20, 35), None, (80, 2_400), 2, 5, sets=(1, 1, 8)),
    Kind(Look.PHOTOGRAPH, T.PHOTOGRAPH, (Mat.CYANOTYPE,), ("Cyanotype",),
         (20, 40), (15, 30), None, (60, 1_200), 1, 3),
    Kind(Look.CASED_PHOTOGRAPH, T.PHOTOGRAPH, (Mat.DAGUERREOTYPE,), ("Daguerreotype, cased",),
         (9, 15), (8, 12), (2, 3), (400, 5_000), 2, 2, conservator_only=True),
    Kind(Look.GLASS_PLATE, T.PHOTOGRAPH, (Mat.GLASS_PLATE,), ("Gelatin dry plate negatives",),
         (13, 20), (18, 25), (4, 10), (100, 1_800), 0, 5, sets=(12, 24)),
    Kind(Look.GLASS_PLATE, T.PHOTOGRAPH, (Mat.WET_COLLODION,), ("Ambrotype on glass",),
         (11, 17), (8, 14), (1, 3), (150, 1_400), 1, 2, conservator_only=True),
    Kind(Look.COLOUR_PHOTOGRAPH, T.PHOTOGRAPH, (Mat.CHROMOGENIC,), ("Chromogenic colour print",),
         (30, 100), (40, 120), (2, 4), (200, 7_000), 7, 2, mounts=_UNDER_GLASS),
    Kind(Look.COLOUR_PHOTOGRAPH, T.PHOTOGRAPH, (Mat.INKJET_PIGMENT,),
         ("Pigment inkjet print on cotton paper",),
         (40, 110), (40, 110), (2, 4), (150, 4_500), 6, 1, mounts=_UNDER_GLASS),
    Kind(Look.COLOUR_PHOTOGRAPH, T.PHOTOGRAPH, (Mat.INKJET_DYE,), ("Dye inkjet print",),
         (20, 60), (20, 60), None, (30, 400), 2, 2),
    Kind(Look.NEGATIVES, T.RECORDING, (Mat.FILM_NEGATIVE,), ("Film negatives in sleeves",),
         (25, 32), (20, 28), (1, 4), (50, 900), 1, 4, sets=(36, 72)),
    Kind(Look.REEL, T.RECORDING, (Mat.NITRATE_ACETATE,), ("Cine film in a can, smells of vinegar",),
         (18, 31), (18, 31), (3, 5), (50, 800), 0, 2, names=("Works film, one can",),
         conservator_only=True),
    Kind(Look.REEL, T.RECORDING, (Mat.MAGNETIC_MEDIA,), ("Quarter-inch magnetic tape, boxed",),
         (19, 28), (19, 28), (2, 3), (30, 400), 1, 3,
         names=("Choir rehearsals, tape", "Oral history, tape"), sets=(1, 5)),
    Kind(Look.DISC, T.RECORDING, (Mat.DISC_PLASTIC,), ("Lacquer and vinyl discs in sleeves",),
         (31, 32), (31, 32), (1, 8), (20, 600), 2, 2, names=("Gramophone records",), sets=(12, 30)),
    Kind(Look.BOOK, T.BOOK, (Mat.BOUND_VOLUME,), ("Cloth binding, sewn", "Paper boards, sewn"),
         (20, 40), (14, 30), (2, 7), (30, 1_200), 6, 18, names=(
             "Tides and Soundings of the Wrayle", "A Grammar of Knots", "Parish Accounts",
             "The Ropemaker's Companion", "Letters from Hask Point"), sets=(1, 1, 3, 6)),
    Kind(Look.BOOK, T.BOOK, (Mat.LEATHER_BINDING,), ("Full calf binding", "Half morocco binding"),
         (18, 42), (12, 30), (2, 8), (120, 5_000), 4, 10, names=(
             "Ledger of the Millrace Company", "Sermons for Seafarers", "Herbal, with plates",
             "Atlas of Invented Shores"), sets=(1, 1, 4)),
    Kind(Look.DOCUMENT, T.DOCUMENT, (Mat.PARCHMENT,), ("Iron gall ink on parchment, pendant seal",),
         (30, 70), (40, 80), None, (200, 3_500), 1, 4,
         names=("Deed of the lower mill", "Grant of a weir", "Apprentice indenture")),
    Kind(Look.DOCUMENT, T.DOCUMENT, (Mat.PRINT_PAPER,), ("Ink on laid paper, bundle",),
         (25, 40), (20, 30), (1, 6), (20, 600), 2, 8,
         names=("Ships' bills, bundle", "Mill correspondence, bundle"), sets=(20, 45)),
    Kind(Look.TEXTILE, T.TEXTILE, (Mat.TEXTILE,),
         ("Pieced cotton quilt", "Wool rug, hand knotted", "Linen sampler, cotton thread"),
         (60, 220), (60, 200), (2, 8), (150, 8_000), 8, 8,
         names=("Quilt, drifting blocks", "Rug with lozenges", "Sampler with alphabet")),
    Kind(Look.TEXTILE, T.TEXTILE, (Mat.TEXTILE_BLEEDING,),
         ("Silk embroidery with metal thread", "Wool hanging, red dye not fast"),
         (50, 180), (40, 150), (1, 6), (300, 9_000), 3, 4,
         names=("Banner of the ropemakers", "Hanging with herons"), conservator_only=True),
    Kind(Look.CHAIR, T.FURNITURE, (Mat.WOOD,), ("Ash and elm", "Turned beech, rush seat"),
         (80, 110), (42, 60), (42, 55), (80, 2_200), 6, 10,
         names=("Ladder-back chair", "Splat-back side chair"), sets=(1, 1, 2, 4)),
    Kind(Look.CHEST, T.FURNITURE, (Mat.WOOD,), ("Oak, iron lock", "Pine, painted"),
         (70, 120), (80, 130), (42, 60), (200, 6_000), 3, 7,
         names=("Blanket chest", "Chest of drawers")),
    Kind(Look.CHEST, T.FURNITURE, (Mat.VENEER,), ("Mahogany veneer on pine", "Walnut marquetry"),
         (75, 140), (70, 130), (40, 58), (800, 18_000), 4, 6,
         names=("Bow-front chest", "Writing cabinet")),
    Kind(Look.ARMCHAIR, T.FURNITURE, (Mat.UPHOLSTERY, Mat.WOOD), ("Beech, horsehair, wool cover",),
         (85, 115), (65, 95), (70, 90), (150, 3_500), 4, 4,
         names=("Wing chair", "Low armchair")),
    Kind(Look.FRAME, T.FRAME, (Mat.GILDED_GESSO,), ("Gilt wood and gesso",),
         (50, 120), (60, 140), (6, 12), (200, 4_500), 5, 2,
         names=("Empty frame, swept corners", "Empty frame, leaf ornament")),
    Kind(Look.FIGURE, T.SCULPTURE, (Mat.GILDED_GESSO, Mat.WOOD), ("Carved limewood, polychrome",),
         (30, 110), (18, 45), (15, 40), (900, 22_000), 2, 1,
         names=("Standing figure with lamp", "Kneeling figure"), conservator_only=True),
    Kind(Look.FIGURE, T.SCULPTURE, (Mat.MARBLE_ALABASTER,), ("White marble",),
         (30, 70), (22, 45), (20, 40), (1_200, 25_000), 4, 2,
         names=("Head of a girl", "Sleeping child"), base=Mat.WOOD),
    Kind(Look.FIGURE, T.SCULPTURE, (Mat.STONE,), ("Granite, carved", "Basalt"),
         (25, 80), (20, 50), (18, 45), (400, 9_000), 6, 5, names=("Seal", "Folded form", "Cairn")),
    Kind(Look.FIGURE, T.SCULPTURE, (Mat.COPPER_ALLOY,), ("Bronze, brown patina",),
         (20, 70), (15, 40), (12, 35), (700, 16_000), 6, 3,
         names=("Running hare", "Diver", "Reader"), base=Mat.MARBLE_ALABASTER),
    Kind(Look.FIGURE, T.SCULPTURE, (Mat.PLASTER,), ("Plaster cast",),
         (30, 75), (20, 45), (20, 40), (80, 1_500), 4, 3,
         names=("Study of a hand", "Bust, cast"), fragile=True),
    Kind(Look.FIGURE, T.SCULPTURE, (Mat.WAX,), ("Wax relief portrait, tinted",),
         (12, 25), (10, 20), (3, 8), (150, 2_200), 2, 0, names=("Profile of a captain",)),
    Kind(Look.VASE, T.DECORATIVE, (Mat.CERAMIC_HIGH,), ("Porcelain, clear glaze", "Stoneware"),
         (18, 60), (12, 35), (12, 35), (80, 5_000), 12, 8,
         names=("Shouldered vase", "Bottle vase", "Covered jar"), sets=(1, 1, 2), fragile=True),
    Kind(Look.PLATES, T.DECORATIVE, (Mat.CERAMIC_HIGH,), ("Porcelain, blue under the glaze",),
         (20, 30), (20, 30), (5, 25), (60, 2_000), 6, 6,
         names=("Plates, willow border", "Soup plates"), sets=(6, 8, 12), fragile=True),
    Kind(Look.BOWL, T.DECORATIVE, (Mat.CERAMIC_LOW,), ("Earthenware, unglazed", "Terracotta"),
         (10, 40), (15, 45), (15, 45), (40, 1_800), 5, 5,
         names=("Wide bowl", "Storage pot"), fragile=True),
    Kind(Look.GOBLET, T.DECORATIVE, (Mat.GLASS,), ("Blown glass, clear", "Cut glass"),
         (12, 35), (7, 20), (7, 20), (40, 2_500), 10, 6,
         names=("Goblet", "Decanter"), sets=(1, 2, 6), fragile=True),
    Kind(Look.JUG, T.DECORATIVE, (Mat.SILVER,), ("Silver, raised and chased",),
         (14, 30), (12, 25), (10, 18), (300, 6_500), 4, 2, names=("Cream jug", "Coffee pot")),
    Kind(Look.LANTERN, T.DECORATIVE, (Mat.IRON,), ("Wrought iron", "Sheet iron, japanned"),
         (25, 60), (15, 35), (15, 35), (40, 900), 3, 4,
         names=("Ship's lantern", "Fire basket"), sets=(1, 2)),
    Kind(Look.BOX, T.DECORATIVE, (Mat.LACQUER,), ("Black lacquer on wood, gold ground",),
         (8, 25), (15, 40), (12, 30), (250, 6_000), 4, 2, names=("Lacquer box", "Writing box")),
    Kind(Look.BOX, T.DECORATIVE, (Mat.BONE_IVORY,), ("Whalebone, pinned",),
         (5, 14), (10, 22), (7, 15), (200, 3_000), 2, 2, names=("Ditty box",)),
    Kind(Look.BOX, T.DECORATIVE, (Mat.LEATHER,), ("Leather on pine, brass studs",),
         (18, 45), (40, 80), (30, 45), (60, 1_200), 2, 4, names=("Deed box", "Travelling trunk")),
    Kind(Look.BASKET, T.DECORATIVE, (Mat.BASKETRY,), ("Split willow", "Birch bark and spruce root"),
         (15, 45), (20, 50), (20, 50), (30, 1_500), 3, 5, names=("Eel basket", "Berry basket")),
    Kind(Look.BIRD, T.OTHER, (Mat.FUR_FEATHER, Mat.GLASS), ("Mounted bird under a glass dome",),
         (30, 60), (20, 40), (20, 40), (100, 1_500), 2, 1, names=("Heron under glass",),
         conservator_only=True),
    Kind(Look.CLOCK, T.CLOCK_OR_DEVICE, (Mat.CLOCK_ELECTRONICS, Mat.WOOD),
         ("Eight-day movement, mahogany case",),
         (30, 60), (22, 40), (14, 25), (200, 5_500), 4, 3, names=("Bracket clock", "Mantel clock")),
)  # fmt: skip

_GIVEN: Final = ("Orsel", "Tavia", "Brannoc", "Quillan", "Wenna", "Isolt", "Merrin", "Jory",
                 "Sabra", "Odalys", "Ilva", "Corwen", "Perrin", "Linnea", "Ansgar")  # fmt: skip
_FAMILY: Final = ("Dunmarsh", "Ferrowick", "Askelby", "Marrowgate", "Thornquill", "Ashkettle",
                  "Pellowmere", "Corrowby", "Hasklund", "Tidemoor", "Vessling", "Lanthorpe",
                  "Brackwater", "Sallowfield")  # fmt: skip
_SCENES: Final = ("Lantern Quay", "The Ropewalk", "Tern Ledge", "Hask Point", "The Lower Weir",
                  "Salt Pans", "Two Boats", "Sallow Field", "The Long Wall", "Ferry Steps",
                  "Net Lofts", "Orchard Row", "Causeway", "Three Chimneys")  # fmt: skip
_LIGHTS: Final = ("Grey Morning", "Low Water", "First Snow", "Evening", "After Rain", "Harvest",
                  "Wind Rising", "Noon", "Last Light", "in Fog", "Study", "No. 4", "No. 7",
                  "Composition in Ochre", "Composition in Blue")  # fmt: skip
_PERIODS: Final = ("about 1780", "1830s", "1862", "about 1890", "1911", "1926", "1937", "1954",
                   "1968", "1983", "1999", "2012", "19th century, late",
                   "20th century, early")  # fmt: skip
_SUBJECTS: Final = ("landscape", "harbour", "portrait", "still life", "abstract", "figure study",
                    "interior", "animals")  # fmt: skip
_INSCRIPTIONS: Final = ("signed lower right", "signed and dated lower left", "monogram verso",
                        "label on the back, illegible", "stamped underneath",
                        "pencil number on the back")  # fmt: skip
_FEATURES: Final = ("old repair at one corner", "small chip at the edge", "replaced hanging wire",
                    "collector's mark", "worn gilding", "later varnish", "one handle mended",
                    "ring stain on the top")  # fmt: skip

_FRAME_SHARE: Final = 0.3
"""Share of framed pieces whose frame comes off on site and gets a tag of its own."""


def invented_name(rng: Random) -> str:
    """An invented person's name."""
    return f"{rng.choice(_GIVEN)} {rng.choice(_FAMILY)}"


def draw_pieces(rng: Random, count: int, kinds: Sequence[tuple[Kind, int]]) -> list[Piece]:
    """``count`` pieces in random order: one of every kind, the rest by the kinds' weights.

    ``ValueError`` when ``count`` is less than the number of kinds.
    """
    if count < len(kinds):
        raise ValueError(f"count: {count} pieces can't show all of {len(kinds)} kinds")
    rest = rng.choices(
        [kind for kind, _ in kinds], weights=[weight for _, weight in kinds], k=count - len(kinds)
    )
    chosen = [*(kind for kind, _ in kinds), *rest]
    rng.shuffle(chosen)
    return [draw_piece(rng, kind) for kind in chosen]


def draw_piece(rng: Random, kind: Kind) -> Piece:
    """One piece of ``kind``."""
    mount = rng.choice(kind.mounts)
    quantity = rng.choice(kind.sets) if mount is Mount.NONE else 1
    frame_cm = rng.uniform(5, 12) if mount is not Mount.NONE else 0.0
    height = rng.uniform(*kind.height_cm) + frame_cm
    width = rng.uniform(*kind.width_cm) + frame_cm
    depth = rng.uniform(*kind.depth_cm) if kind.depth_cm else None
    unit: LengthUnit = rng.choice(("in", "in", "cm"))
    size = measured(height, width, depth, unit)
    parts = _parts(rng, kind, mount, size, unit)
    materials = kind.materials
    frame_stays = all(part.role is not PartRole.FRAME for part in parts)
    if mount.material is not None and frame_stays:
        materials = (*materials, mount.material)
    return Piece(
        look=kind.look,
        object_type=kind.object_type,
        materials=materials,
        title=_title(rng, kind),
        maker=invented_name(rng) if rng.random() < 0.7 else "",
        period=rng.choice(_PERIODS),
        subject=rng.choice(_SUBJECTS) if not kind.names else "",
        medium=rng.choice(kind.media),
        inscriptions=rng.choice(_INSCRIPTIONS) if rng.random() < 0.4 else "",
        features=rng.choice(_FEATURES) if rng.random() < 0.3 else "",
        size=size,
        quantity=quantity,
        significance=rng.choices(tuple(Significance), weights=(75, 18, 7))[0],
        conservator_only=kind.conservator_only,
        valued=_valued(rng, kind) if rng.random() < 0.88 else None,
        mount=mount,
        fragile=kind.fragile or mount.glazed,
        parts=parts,
        height_cm=height,
        width_cm=width,
    )


def measured(height_cm: float, width_cm: float, depth_cm: float | None, unit: LengthUnit) -> Size:
    """A size as a crew writes it: quarter inches or half centimetres."""
    return Size(
        height=_length(height_cm, unit),
        width=_length(width_cm, unit),
        depth=None if depth_cm is None else _length(depth_cm, unit),
    )


def _length(centimetres: float, unit: LengthUnit) -> Length:
    exact, step = (
        (centimetres / 2.54, Decimal("0.25")) if unit == "in" else (centimetres, Decimal("0.5"))
    )
    steps = max(1, round(exact / float(step)))
    return Length(value=f"{(steps * step).normalize():f}", unit=unit)


def _title(rng: Random, kind: Kind) -> str:
    if kind.names:
        return rng.choice(kind.names)
    if rng.random() < 0.2:
        return f"Portrait of {rng.choice(('Captain', 'Miss', 'Dr', 'Old'))} {rng.choice(_FAMILY)}"
    return f"{rng.choice(_SCENES)}, {rng.choice(_LIGHTS)}"


def _valued(rng: Random, kind: Kind) -> Valued:
    low, high = kind.value
    exact = math.exp(rng.uniform(math.log(low), math.log(high)))
    step = 10 if exact < 1_000 else 50 if exact < 10_000 else 500
    basis = rng.choices(tuple(ValueBasis), weights=(10, 35, 20, 35))[0]
    amount = f"{max(step, round(exact / step) * step)}.00"
    return Valued(basis=basis, value=Money(amount=amount, currency=CURRENCY))


def _parts(
    rng: Random, kind: Kind, mount: Mount, size: Size, unit: LengthUnit
) -> tuple[PartPiece, ...]:
    parts = []
    if mount.material is not None and rng.random() < _FRAME_SHARE:
        gilt = mount.material is Mat.GILDED_GESSO
        parts.append(
            PartPiece(
                role=PartRole.FRAME,
                object_type=T.FRAME,
                materials=(mount.material,),
                medium="Gilt wood and gesso frame" if gilt else "Stained wood frame",
                size=size,
            )
        )
    if parts and mount.glazed:
        parts.append(
            PartPiece(PartRole.GLAZING, T.OTHER, (Mat.GLASS,), "Float glass", _flat(size, unit))
        )
    if kind.base is not None:
        stone = kind.base is Mat.MARBLE_ALABASTER
        parts.append(
            PartPiece(
                role=PartRole.BASE,
                object_type=T.OTHER,
                materials=(kind.base,),
                medium="Veined marble base" if stone else "Turned wood base",
                size=measured(8, 22, 20, unit),
            )
        )
    return tuple(parts)


def _flat(size: Size, unit: LengthUnit) -> Size:
    return Size(height=size.height, width=size.width, depth=_length(0.5, unit))
