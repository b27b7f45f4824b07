"""Photos of the invented pieces, drawn by code: the piece, its damage, scale bar and grey card."""

import io
from dataclasses import dataclass
from functools import lru_cache
from random import Random
from typing import Final

from PIL import Image, ImageDraw, ImageFilter, ImageFont

from demo_data.pictures import flat, solid, turned
from demo_data.pictures.damage import paint_damage
from demo_data.pictures.surface import GROUNDS, SIZE, ground
from demo_data.pieces import Look, Mount
from demo_data.sites import Harm
from shared.vocabulary import Damage, Material, PartRole

MAX_BYTES: Final = 80_000

_AREA: Final = (590, 545)
"""The most a piece may fill, in pixels of the photo."""

_FINE: Final = 2
"""Pieces are drawn this much larger, then reduced, so that edges are smooth."""

_SMOOTH: Final = frozenset({Look.VASE, Look.BOWL, Look.GOBLET, Look.FIGURE})
"""Looks whose edges are smooth as drawn."""


@dataclass(frozen=True)
class Subject:
    """What is to be photographed. Height and width are of the piece itself, in cm."""

    look: Look
    material: Material
    mount: Mount
    quantity: int
    height_cm: float
    width_cm: float
    harms: tuple[Harm, ...]
    portrait: bool = False
    part: PartRole | None = None


def draw_photo(subject: Subject, *, seed: int, close_up: int = 0) -> bytes:
    """A JPEG of ``subject``, 1000 by 750 pixels and at most ``MAX_BYTES``.

    The same arguments give the same bytes. ``close_up`` 1, 2 … shows a part of the same view
    twice as large, each another part.
    """
    rng = Random(seed)
    size = _fitted(subject)
    fine = 1 if subject.look in _SMOOTH and subject.part is None else _FINE
    piece = _draw(subject, (size[0] * fine, size[1] * fine), rng).reduce(fine)
    bagged = subject.part is PartRole.FRAGMENTS
    shown = tuple(h for h in subject.harms if not (bagged and h.damage is Damage.BROKEN))
    piece = paint_damage(piece, shown, rng)
    wet = any(harm.damage in {Damage.MUD, Damage.SOAKED} for harm in subject.harms)
    grounds = GROUNDS[2:] if wet else GROUNDS[:4]
    photo = ground(rng.choice(grounds), rng.randrange(2)).copy()
    corner = (SIZE[0] // 2 - piece.width // 2 + rng.randint(-30, 30), 318 - piece.height // 2)
    _shadow(photo, piece, corner)
    photo.paste(piece, corner, piece)
    pixels_per_cm = size[1] / max(subject.height_cm, 1.0)
    if close_up:
        photo = _nearer(photo, corner, piece.size, Random(f"{seed}:{close_up}"))
        pixels_per_cm *= 2
    _lay_scale(photo, pixels_per_cm)
    return _encoded(photo)


def _fitted(subject: Subject) -> tuple[int, int]:
    """Pixels of the piece in the photo, by its own proportions within what can be drawn."""
    ratio = min(2.2, max(0.42, subject.width_cm / subject.height_cm))
    if subject.look in {Look.CASED_PHOTOGRAPH, Look.DISC}:
        ratio = 1.5
    if subject.look is Look.PLATES:
        ratio = 1.0 + 0.42 * (min(subject.quantity, 4) - 1)
    if subject.look is Look.REEL:
        ratio = 1.0
    if subject.look in {Look.FIGURE, Look.JUG}:
        ratio = min(0.8, max(0.5, ratio))
    height = min(_AREA[1], _AREA[0] / ratio)
    return max(60, round(height * ratio)), max(60, round(height))


def _draw(subject: Subject, size: tuple[int, int], rng: Random) -> Image.Image:
    look, material = subject.look, subject.material
    if subject.part is not None:
        return _draw_part(subject, size, rng)
    match look:
        case Look.PAINTING | Look.PAPER | Look.PHOTOGRAPH | Look.COLOUR_PHOTOGRAPH:
            return flat.framed(look, material, subject.mount, size, rng, portrait=subject.portrait)
        case Look.FRAME:
            return flat.empty_frame(size, rng, gilt=material is Material.GILDED_GESSO)
        case Look.BOOK:
            leather = material is Material.LEATHER_BINDING
            return flat.book(size, rng, subject.quantity, leather=leather)
        case Look.DOCUMENT:
            return flat.manuscript(size, rng, sealed=material is Material.PARCHMENT)
        case Look.TEXTILE:
            return flat.cloth(size, rng)
        case Look.CASED_PHOTOGRAPH:
            return solid.cased(size, material, rng)
        case Look.GLASS_PLATE:
            return solid.plate_glass(size, material, rng)
        case Look.NEGATIVES:
            return solid.negatives(size, rng)
        case Look.CHAIR:
            return solid.chair(size, rng)
        case Look.ARMCHAIR:
            return solid.armchair(size, rng)
        case Look.CHEST:
            return solid.chest(size, rng, veneered=material is Material.VENEER)
        case Look.VASE | Look.BOWL:
            return turned.pot(look, material, size, rng)
        case Look.PLATES:
            return solid.plates(size, rng, subject.quantity)
        case Look.GOBLET:
            return turned.glassware(size, rng, tall=rng.random() < 0.4)
        case Look.FIGURE:
            return turned.figure(material, size, rng)
        case Look.CLOCK:
            return solid.clock(size, rng)
        case Look.REEL:
            return solid.reel(size, rng)
        case Look.DISC:
            return solid.disc(size, rng)
        case Look.BASKET:
            return turned.basket(size, rng)
        case Look.BIRD:
            return solid.bird(size, rng)
        case Look.JUG:
            return turned.jug(size, rng)
        case Look.LANTERN:
            return solid.lantern(size, rng)
        case Look.BOX:
            return solid.box(material, size, rng)


def _draw_part(subject: Subject, size: tuple[int, int], rng: Random) -> Image.Image:
    gilt = subject.material is Material.GILDED_GESSO
    if subject.part is PartRole.FRAME:
        return flat.empty_frame(size, rng, gilt=gilt)
    if subject.part is PartRole.GLAZING:
        return flat.pane(size)
    if subject.part is PartRole.BASE:
        return solid.box(Material.LEATHER, size, rng)
    colour = turned.STONES.get(subject.material, ((206, 204, 196),))[0]
    return solid.shards(size, colour, rng)


def _shadow(photo: Image.Image, piece: Image.Image, corner: tuple[int, int]) -> None:
    """A soft shadow to the lower right, blurred at a quarter of the size."""
    small = Image.new("L", (SIZE[0] // 4, SIZE[1] // 4), 0)
    alpha = piece.getchannel("A").reduce(4)
    small.paste(alpha.point(lambda value: value * 5 // 9), (corner[0] // 4 + 3, corner[1] // 4 + 4))
    soft = small.filter(ImageFilter.GaussianBlur(3)).resize(SIZE, Image.Resampling.BILINEAR)
    photo.paste((20, 20, 24), (0, 0), soft)


def _nearer(
    photo: Image.Image, corner: tuple[int, int], size: tuple[int, int], rng: Random
) -> Image.Image:
    """The half of the view round a point of the piece, enlarged."""
    x = corner[0] + size[0] * rng.uniform(0.25, 0.75)
    y = corner[1] + size[1] * rng.uniform(0.3, 0.75)
    wide, tall = SIZE[0] // 2, SIZE[1] // 2
    left = int(min(max(0, x - wide / 2), SIZE[0] - wide))
    top = int(min(max(0, y - tall / 2), SIZE[1] - tall))
    return photo.resize(SIZE, Image.Resampling.BICUBIC, (left, top, left + wide, top + tall))


@lru_cache(maxsize=4)
def _font(points: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(points)


def _lay_scale(photo: Image.Image, pixels_per_cm: float) -> None:
    """Scale bar, grey card and the mark that all of it is invented, along the lower edge."""
    draw = ImageDraw.Draw(photo)
    length_cm = next((cm for cm in (50, 20, 10, 5, 2, 1) if cm * pixels_per_cm <= 300), 1)
    left, top = 44, 672
    tick = length_cm * pixels_per_cm / 5
    draw.rectangle((left - 12, top - 12, left + tick * 5 + 84, top + 34), fill=(246, 246, 242))
    for number in range(5):
        shade = (24, 24, 24) if number % 2 == 0 else (232, 232, 228)
        start = left + number * tick
        draw.rectangle((start, top, start + tick, top + 20), fill=shade, outline=(24, 24, 24))
    draw.text((left + tick * 5 + 10, top - 3), f"{length_cm} cm", fill=(24, 24, 24), font=_font(22))
    for number, grey in enumerate((250, 200, 150, 118, 70, 22)):
        start = 700 + number * 42
        draw.rectangle((start, top - 12, start + 41, top + 34), fill=(grey, grey, grey))
    mark = (846, 18, 984, 52)
    draw.rounded_rectangle(mark, radius=6, fill=(250, 248, 240), outline=(150, 60, 40), width=2)
    draw.text((860, 23), "INVENTED", fill=(150, 60, 40), font=_font(22))


def _encoded(photo: Image.Image) -> bytes:
    """``photo`` as JPEG, as good as fits in ``MAX_BYTES``."""
    for quality in (78, 66, 54, 42, 30):
        buffer = io.BytesIO()
        photo.save(buffer, "JPEG", quality=quality)
        if buffer.tell() <= MAX_BYTES:
            return buffer.getvalue()
    raise ValueError("photo: too much detail to fit; draw it with coarser noise")
