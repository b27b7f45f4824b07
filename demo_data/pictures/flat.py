"""Flat pieces: paintings, works on paper, photographs, frames, documents, textiles, books."""

import math
from collections.abc import Callable
from random import Random
from typing import Final

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageOps

from demo_data.pictures.surface import PALETTES, WOODS, Colour, cloud, grain, mixed, noise, tinted
from demo_data.pieces import Look, Mount
from shared.vocabulary import Material

Palette = tuple[Colour, ...]
Composition = Callable[[ImageDraw.ImageDraw, tuple[int, int], Palette, Random], None]


def _water(draw: ImageDraw.ImageDraw, size: tuple[int, int], tones: Palette, rng: Random) -> None:
    width, height = size
    line = int(height * rng.uniform(0.35, 0.6))
    for row in range(line):
        draw.line([(0, row), (width, row)], fill=mixed(tones[1], tones[4], row / line))
    for depth in range(line, height):
        share = (depth - line) / max(1, height - line)
        draw.line([(0, depth), (width, depth)], fill=mixed(tones[1], tones[0], share))
    radius = width * rng.uniform(0.03, 0.07)
    sun = (width * rng.uniform(0.15, 0.85), line * rng.uniform(0.3, 0.8))
    draw.ellipse(_round(sun, radius), fill=tones[3])
    for _ in range(26):
        left, crest = rng.uniform(0, width), rng.uniform(line + 6, height)
        length = width * rng.uniform(0.03, 0.16)
        draw.line(
            [(left, crest), (left + length, crest)], fill=tones[2], width=max(2, height // 160)
        )
    for _ in range(rng.randint(1, 3)):
        _boat(draw, size, line, tones, rng)


def _boat(
    draw: ImageDraw.ImageDraw, size: tuple[int, int], line: int, tones: Palette, rng: Random
) -> None:
    width, height = size
    left, base = width * rng.uniform(0.1, 0.75), line + height * rng.uniform(0.02, 0.22)
    hull = width * rng.uniform(0.08, 0.16)
    draw.polygon(
        [
            (left, base),
            (left + hull, base),
            (left + hull * 0.82, base + hull * 0.22),
            (left + hull * 0.18, base + hull * 0.22),
        ],
        fill=tones[0],
    )
    mast = left + hull * 0.5
    draw.polygon(
        [(mast, base - hull * 0.95), (mast, base - 4), (mast + hull * 0.45, base - 4)],
        fill=tones[4],
    )
    draw.polygon(
        [(mast - 4, base - hull * 0.75), (mast - 4, base - 4), (mast - hull * 0.35, base - 4)],
        fill=tones[3],
    )


def _hills(draw: ImageDraw.ImageDraw, size: tuple[int, int], tones: Palette, rng: Random) -> None:
    width, height = size
    for row in range(height):
        draw.line(
            [(0, row), (width, row)], fill=mixed(tones[1], tones[4], min(1, row / height * 2))
        )
    for layer in range(4):
        base = height * (0.38 + 0.15 * layer)
        swing, phase = height * rng.uniform(0.03, 0.1), rng.uniform(0, 6)
        ridge = [
            (x, base + swing * math.sin(phase + x / width * (4 + 2 * layer)))
            for x in range(0, width + 20, 20)
        ]
        share = layer / 4
        fill = mixed(mixed(tones[2], tones[4], 0.35), tones[0], share)
        draw.polygon([*ridge, (width, height), (0, height)], fill=fill)
    for _ in range(rng.randint(3, 8)):
        foot = (width * rng.random(), height * rng.uniform(0.6, 0.92))
        tall = height * rng.uniform(0.06, 0.16)
        draw.line([foot, (foot[0], foot[1] - tall)], fill=tones[0], width=max(3, width // 200))
        draw.ellipse(
            _round((foot[0], foot[1] - tall), tall * 0.42), fill=mixed(tones[2], tones[0], 0.4)
        )


def _table(draw: ImageDraw.ImageDraw, size: tuple[int, int], tones: Palette, rng: Random) -> None:
    width, height = size
    edge = int(height * 0.62)
    draw.rectangle((0, 0, width, edge), fill=mixed(tones[0], tones[1], 0.35))
    draw.rectangle((0, edge, width, height), fill=tones[2])
    for place in (0.24, 0.5, 0.74):
        middle = width * place + rng.uniform(-0.04, 0.04) * width
        if rng.random() < 0.5:
            radius = height * rng.uniform(0.08, 0.14)
            draw.ellipse(_round((middle, edge + radius * 0.2), radius), fill=tones[3])
            draw.ellipse(
                _round((middle - radius * 0.3, edge - radius * 0.2), radius * 0.28),
                fill=mixed(tones[3], tones[4], 0.6),
            )
        else:
            wide, tall = width * rng.uniform(0.05, 0.09), height * rng.uniform(0.26, 0.44)
            draw.rounded_rectangle(
                (middle - wide, edge - tall + 30, middle + wide, edge + 40),
                radius=wide * 0.7,
                fill=mixed(tones[1], tones[4], rng.random() * 0.7),
            )
            neck = wide * 0.4
            draw.rectangle(
                (middle - neck, edge - tall, middle + neck, edge - tall * 0.6), fill=tones[4]
            )


def _sitter(draw: ImageDraw.ImageDraw, size: tuple[int, int], tones: Palette, rng: Random) -> None:
    width, height = size
    draw.rectangle((0, 0, width, height), fill=mixed(tones[0], tones[1], 0.3))
    draw.ellipse(
        _round((width * 0.55, height * 0.4), width * 0.55), fill=mixed(tones[0], tones[1], 0.6)
    )
    skin = (222, 184, 150)
    middle, head = width * rng.uniform(0.44, 0.56), min(width, height) * 0.17
    top = height * 0.36
    draw.ellipse(
        (middle - head * 2.3, top + head * 1.3, middle + head * 2.3, height * 1.4),
        fill=mixed(tones[0], tones[3], rng.choice((0.1, 0.5, 0.8))),
    )
    draw.rectangle((middle - head * 0.38, top, middle + head * 0.38, top + head * 1.7), fill=skin)
    draw.polygon(
        [
            (middle - head * 0.8, top + head * 1.4),
            (middle + head * 0.8, top + head * 1.4),
            (middle, top + head * 2.5),
        ],
        fill=tones[4],
    )
    hair = mixed(tones[0], (90, 60, 40), 0.5)
    draw.ellipse(
        (middle - head * 1.02, top - head * 1.3, middle + head * 1.02, top + head * 0.8), fill=hair
    )
    draw.ellipse(
        (middle - head * 0.82, top - head * 0.95, middle + head * 0.82, top + head * 1.15),
        fill=skin,
    )
    for side in (-1, 1):
        draw.ellipse(_round((middle + side * head * 0.33, top), head * 0.09), fill=hair)
    draw.arc(
        (middle - head * 0.3, top + head * 0.35, middle + head * 0.3, top + head * 0.7),
        20,
        160,
        fill=(168, 92, 80),
        width=max(3, int(head * 0.07)),
    )


def _blocks(draw: ImageDraw.ImageDraw, size: tuple[int, int], tones: Palette, rng: Random) -> None:
    width, height = size
    draw.rectangle((0, 0, width, height), fill=tones[4])
    columns = sorted(rng.uniform(0.1, 0.9) for _ in range(3))
    rows = sorted(rng.uniform(0.1, 0.9) for _ in range(3))
    for left, right in zip((0.0, *columns), (*columns, 1.0), strict=True):
        for top, bottom in zip((0.0, *rows), (*rows, 1.0), strict=True):
            gap = width * 0.012
            draw.rectangle(
                (
                    left * width + gap,
                    top * height + gap,
                    max(left * width + gap + 1, right * width - gap),
                    max(top * height + gap + 1, bottom * height - gap),
                ),
                fill=rng.choice(tones),
            )


def _circles(draw: ImageDraw.ImageDraw, size: tuple[int, int], tones: Palette, rng: Random) -> None:
    width, height = size
    draw.rectangle((0, 0, width, height), fill=mixed(tones[4], tones[2], 0.3))
    for _ in range(rng.randint(6, 12)):
        radius = min(width, height) * rng.uniform(0.05, 0.26)
        middle = (width * rng.random(), height * rng.random())
        tone = rng.choice(tones)
        draw.ellipse(_round(middle, radius), fill=tone)
        if rng.random() < 0.5:
            draw.ellipse(_round(middle, radius * 0.6), fill=rng.choice(tones))
    for _ in range(4):
        ends = [(width * rng.random(), height * rng.random()) for _ in range(2)]
        draw.line(ends, fill=tones[0], width=max(4, width // 120))


def _strokes(draw: ImageDraw.ImageDraw, size: tuple[int, int], tones: Palette, rng: Random) -> None:
    width, height = size
    draw.rectangle((0, 0, width, height), fill=tones[4])
    for _ in range(42):
        start = (width * rng.random(), height * rng.random())
        angle = rng.choice((0.3, 0.3, 1.4, -0.6)) + rng.uniform(-0.25, 0.25)
        length = width * rng.uniform(0.1, 0.35)
        end = (start[0] + length * math.cos(angle), start[1] + length * math.sin(angle))
        broad = int(min(width, height) * rng.uniform(0.02, 0.09))
        draw.line([start, end], fill=rng.choice(tones), width=broad)


COMPOSITIONS: Final[tuple[Composition, ...]] = (
    _water,
    _water,
    _hills,
    _hills,
    _table,
    _sitter,
    _blocks,
    _circles,
    _strokes,
)


def _round(middle: tuple[float, float], radius: float) -> tuple[float, float, float, float]:
    x, y = middle
    return x - radius, y - radius, x + radius, y + radius


def composition(size: tuple[int, int], rng: Random, *, portrait: bool) -> Image.Image:
    """A picture made of simple shapes."""
    image = Image.new("RGB", size)
    compose = _sitter if portrait else rng.choice(COMPOSITIONS)
    compose(ImageDraw.Draw(image), size, rng.choice(PALETTES), rng)
    return image


def artwork(
    look: Look, material: Material, size: tuple[int, int], rng: Random, *, portrait: bool
) -> Image.Image:
    """The face of a flat piece in the manner of its medium."""
    seed = rng.randrange(2**31)
    image = composition(size, rng, portrait=portrait)
    if look is Look.PAINTING:
        strokes = 0.86 + 0.28 * noise(seed, size, 90)
        return _shaded(image, strokes)
    if look in {Look.PHOTOGRAPH, Look.GLASS_PLATE, Look.CASED_PHOTOGRAPH}:
        grey = ImageOps.autocontrast(image.convert("L").filter(ImageFilter.GaussianBlur(3)))
        dark, light = _PHOTO_TONES.get(material, ((24, 24, 26), (232, 230, 224)))
        return ImageOps.colorize(grey, dark, light)
    if look is Look.COLOUR_PHOTOGRAPH:
        return image.filter(ImageFilter.GaussianBlur(5))
    if material is Material.PRINT_PAPER:
        return _hatched(image, rng)
    if material is Material.COATED_PAPER:
        return ImageOps.posterize(image, 3)
    wash = cloud(seed, size, 5)
    pale = Image.new("RGB", size, (244, 238, 224))
    strength = Image.fromarray((150 + 90 * wash).astype(np.uint8), "L")
    soft = image.filter(ImageFilter.GaussianBlur(6 if material is Material.WATERCOLOUR else 2))
    washed = Image.composite(soft, pale, strength)
    if material is Material.PASTEL:
        return _shaded(washed, 0.82 + 0.36 * noise(seed + 9, size, 200))
    return washed


_PHOTO_TONES: Final[dict[Material, tuple[Colour, Colour]]] = {
    Material.ALBUMEN: ((62, 36, 22), (240, 222, 186)),
    Material.CYANOTYPE: ((16, 40, 92), (226, 234, 240)),
    Material.DAGUERREOTYPE: ((44, 46, 54), (206, 206, 204)),
    Material.WET_COLLODION: ((18, 16, 14), (212, 200, 178)),
    Material.GLASS_PLATE: ((214, 212, 206), (36, 38, 40)),
}


def _shaded(
    image: Image.Image, shade: np.ndarray[tuple[int, ...], np.dtype[np.float32]]
) -> Image.Image:
    rgb = np.clip(np.asarray(image, dtype=np.float32) * shade[..., None], 0, 255)
    return Image.fromarray(rgb.astype(np.uint8), "RGB")


def _hatched(image: Image.Image, rng: Random) -> Image.Image:
    """An etching: dark tones become hatching on warm paper."""
    grey = np.asarray(ImageOps.autocontrast(image.convert("L")), dtype=np.float32) / 255
    height, width = grey.shape
    y, x = np.mgrid[0:height, 0:width]
    ink = np.zeros_like(grey)
    for level, angle in ((0.72, 0.8), (0.5, -0.7), (0.28, 0.1)):
        lines = np.sin((x * math.cos(angle) + y * math.sin(angle)) * 0.75) > -0.1
        ink = np.maximum(ink, np.where((grey < level) & lines, 1.0, 0.0))
    dark = rng.choice(((34, 30, 28), (70, 44, 30), (30, 38, 58)))
    paper = np.array((242, 235, 218), dtype=np.float32)
    rgb = paper + (np.array(dark, dtype=np.float32) - paper) * (0.85 * ink)[..., None]
    return Image.fromarray(rgb.astype(np.uint8), "RGB")


def framed(
    look: Look,
    material: Material,
    mount: Mount,
    size: tuple[int, int],
    rng: Random,
    *,
    portrait: bool,
) -> Image.Image:
    """A flat piece with its frame and window mount, as an image of ``size``."""
    width, height = size
    if mount is Mount.NONE:
        face = artwork(look, material, size, rng, portrait=portrait).convert("RGBA")
        if look is not Look.PAINTING:
            margin = max(10, min(size) // 14)
            sheet = Image.new("RGBA", size, (244, 238, 224, 255))
            sheet.paste(
                face.crop((margin, margin, width - margin, height - margin)), (margin, margin)
            )
            return sheet
        return face
    gilt = mount in {Mount.GILT, Mount.GILT_GLAZED}
    rail = int(min(size) * (rng.uniform(0.11, 0.16) if gilt else rng.uniform(0.05, 0.08)))
    image = moulding(size, rail, gilt=gilt, rng=rng)
    inner = (width - 2 * rail, height - 2 * rail)
    if look is not Look.PAINTING:
        ImageDraw.Draw(image).rectangle(
            (rail, rail, width - rail, height - rail), fill=(240, 236, 224, 255)
        )
        margin = int(min(inner) * 0.13)
        draw = ImageDraw.Draw(image)
        draw.rectangle(
            (
                rail + margin - 5,
                rail + margin - 5,
                width - rail - margin + 4,
                height - rail - margin + 4,
            ),
            fill=(206, 198, 180, 255),
        )
        inner = (inner[0] - 2 * margin, inner[1] - 2 * margin)
        rail += margin
    image.paste(
        artwork(look, material, inner, rng, portrait=portrait).convert("RGBA"), (rail, rail)
    )
    if mount.glazed:
        shine = Image.new("RGBA", size, (0, 0, 0, 0))
        left = int(width * rng.uniform(0.1, 0.5))
        ImageDraw.Draw(shine).polygon(
            [
                (left, 0),
                (left + width // 6, 0),
                (left - width // 8, height),
                (left - width // 3, height),
            ],
            fill=(255, 255, 255, 34),
        )
        image.alpha_composite(shine)
    return image


def moulding(size: tuple[int, int], rail: int, *, gilt: bool, rng: Random) -> Image.Image:
    """A frame without what is in it; the inside is dark."""
    width, height = size
    colour: Colour = (
        rng.choice(((196, 156, 76), (182, 140, 62)))
        if gilt
        else rng.choice((*WOODS, (44, 42, 42), (226, 222, 212)))
    )
    image = grain(rng.randrange(2**31), size, colour, upright=False)
    draw = ImageDraw.Draw(image)
    light, dark = mixed(colour, (255, 248, 220), 0.45), mixed(colour, (30, 20, 10), 0.5)
    steps = (0.0, 0.18, 0.42, 0.62, 0.84) if gilt else (0.0, 0.75)
    for number, step in enumerate(steps):
        inset = int(rail * step)
        edge = light if number % 2 == 0 else dark
        draw.rectangle(
            (inset, inset, width - 1 - inset, height - 1 - inset),
            outline=edge,
            width=max(2, rail // 14),
        )
    for corner in ((0, 0), (width, 0), (width, height), (0, height)):
        inward = (
            rail if corner[0] == 0 else width - rail,
            rail if corner[1] == 0 else height - rail,
        )
        draw.line([corner, inward], fill=dark, width=2)
    if gilt:
        _beads(draw, size, rail, light, dark)
    draw.rectangle((rail, rail, width - rail - 1, height - rail - 1), fill=(38, 34, 32, 255))
    return image


def _beads(
    draw: ImageDraw.ImageDraw, size: tuple[int, int], rail: int, light: Colour, dark: Colour
) -> None:
    width, height = size
    radius, inset = max(3, rail // 11), int(rail * 0.52)
    across = range(inset, width - inset, radius * 3)
    down = range(inset, height - inset, radius * 3)
    spots = [(x, y) for x in across for y in (inset, height - inset)]
    spots += [(x, y) for y in down for x in (inset, width - inset)]
    for x, y in spots:
        draw.ellipse(_round((x + 2, y + 2), radius), fill=dark)
        draw.ellipse(_round((x, y), radius), fill=light)


def empty_frame(size: tuple[int, int], rng: Random, *, gilt: bool) -> Image.Image:
    """A frame seen from the front with nothing in it: the ground shows through."""
    rail = int(min(size) * (0.16 if gilt else 0.09))
    image = moulding(size, rail, gilt=gilt, rng=rng)
    hole = (rail + 1, rail + 1, size[0] - rail - 2, size[1] - rail - 2)
    alpha = Image.new("L", size, 255)
    ImageDraw.Draw(alpha).rectangle(hole, fill=0)
    image.putalpha(alpha)
    return image


def pane(size: tuple[int, int]) -> Image.Image:
    """A loose sheet of glass."""
    image = Image.new("RGBA", size, (196, 214, 210, 70))
    draw = ImageDraw.Draw(image)
    width, height = size
    draw.rectangle((0, 0, width - 1, height - 1), outline=(120, 160, 150, 230), width=6)
    for start in (0.15, 0.28, 0.7):
        draw.line(
            [(width * start, height * 0.08), (width * (start - 0.12), height * 0.92)],
            fill=(255, 255, 255, 90),
            width=12,
        )
    return image


def manuscript(size: tuple[int, int], rng: Random, *, sealed: bool) -> Image.Image:
    """A written sheet, or the top of a bundle of them."""
    width, height = size
    tone: Colour = (226, 204, 160) if sealed else (238, 228, 204)
    image = tinted(0.9 + 0.16 * cloud(rng.randrange(2**31), size, 5), tone)
    draw = ImageDraw.Draw(image)
    margin = width // 10
    pitch = max(16, height // 24)
    for row in range(margin, height - int(margin * (2.6 if sealed else 1.2)), pitch):
        end = width - margin if rng.random() < 0.85 else width * rng.uniform(0.5, 0.8)
        x = float(margin)
        while x < end:
            word = rng.uniform(20, 80)
            waves = [
                (x + step, row + rng.uniform(-0.3, 0.3) * pitch) for step in range(0, int(word), 6)
            ]
            if len(waves) > 1:
                draw.line(waves, fill=(70, 48, 34), width=3)
            x += word + 16
    if sealed:
        middle = (width * 0.72, height - margin * 1.2)
        draw.ellipse(_round(middle, margin * 0.75), fill=(148, 38, 34))
        draw.ellipse(_round(middle, margin * 0.5), outline=(190, 90, 80), width=4)
    else:
        band = int(height * 0.55)
        draw.rectangle((0, band, width, band + 16), fill=(178, 70, 62))
        draw.rectangle((int(width * 0.48), 0, int(width * 0.48) + 16, height), fill=(178, 70, 62))
    return image


def cloth(size: tuple[int, int], rng: Random) -> Image.Image:
    """A quilt, a rug or a banner, laid out flat."""
    width, height = size
    tones = rng.choice(PALETTES)
    image = Image.new("RGBA", size, (*tones[4], 255))
    draw = ImageDraw.Draw(image)
    rng.choice((_quilt, _rug, _banner))(draw, size, tones, rng)
    weave = np.indices((height, width)).sum(axis=0) % 6 < 3
    shade = np.where(weave, 1.0, 0.93)
    woven = _shaded(
        image.convert("RGB"), shade * (0.92 + 0.16 * noise(rng.randrange(2**31), size, 7))
    )
    return woven.convert("RGBA")


def _quilt(draw: ImageDraw.ImageDraw, size: tuple[int, int], tones: Palette, rng: Random) -> None:
    width, height = size
    cell = min(size) / rng.randint(4, 6)
    for row in range(math.ceil(height / cell)):
        for column in range(math.ceil(width / cell)):
            x, y = column * cell, row * cell
            draw.rectangle((x, y, x + cell, y + cell), fill=rng.choice(tones[2:]))
            first, second = rng.sample(tones, 2)
            draw.polygon([(x, y), (x + cell, y), (x, y + cell)], fill=first)
            inner = cell * 0.28
            draw.rectangle((x + inner, y + inner, x + cell - inner, y + cell - inner), fill=second)


def _rug(draw: ImageDraw.ImageDraw, size: tuple[int, int], tones: Palette, rng: Random) -> None:
    width, height = size
    field = rng.choice(((132, 42, 38), (34, 52, 84), (92, 60, 40)))
    for inset, tone in ((0.0, tones[0]), (0.04, tones[3]), (0.08, tones[4]), (0.1, field)):
        edge = inset * min(size)
        draw.rectangle((edge, edge, width - edge, height - edge), fill=tone)
    lozenges = rng.randint(2, 4)
    for number in range(lozenges):
        x, y = width / 2, height * (number + 0.5) / lozenges
        for scale, tone in ((0.42, tones[3]), (0.3, tones[4]), (0.18, tones[1])):
            wide, tall = width * scale, height * scale / lozenges * 1.1
            draw.polygon([(x - wide, y), (x, y - tall), (x + wide, y), (x, y + tall)], fill=tone)


def _banner(draw: ImageDraw.ImageDraw, size: tuple[int, int], tones: Palette, rng: Random) -> None:
    width, height = size
    draw.rectangle((0, 0, width, height), fill=rng.choice(((120, 28, 40), (30, 66, 72))))
    edge = min(size) * 0.05
    draw.rectangle((edge, edge, width - edge, height - edge), outline=(208, 170, 90), width=10)
    middle = (width / 2, height * 0.45)
    for spoke in range(12):
        angle = math.tau * spoke / 12
        reach = min(size) * 0.3
        tip = (middle[0] + reach * math.cos(angle), middle[1] + reach * math.sin(angle))
        draw.line([middle, tip], fill=(214, 180, 104), width=12)
        draw.ellipse(_round(tip, reach * 0.13), fill=tones[3])
    draw.ellipse(_round(middle, min(size) * 0.12), fill=(226, 196, 120))


def book(size: tuple[int, int], rng: Random, quantity: int, *, leather: bool) -> Image.Image:
    """A closed book seen from the front, or a short stack of spines."""
    colours: tuple[Colour, ...] = (
        ((104, 58, 32), (84, 36, 28), (70, 54, 36))
        if leather
        else ((40, 70, 92), (110, 44, 48), (52, 84, 62), (150, 126, 84))
    )
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    if quantity > 1:
        _stack(image, size, rng, min(quantity, 6), colours)
    else:
        _cover(image, size, rng, colours)
    return image


def _cover(
    image: Image.Image, size: tuple[int, int], rng: Random, colours: tuple[Colour, ...]
) -> None:
    width, height = size
    thick = max(24, width // 14)
    draw = ImageDraw.Draw(image)
    draw.rectangle((thick, thick, width, height), fill=(226, 214, 186))
    for line in range(thick, width, 5):
        draw.line([(line, height - thick), (line, height)], fill=(196, 182, 150))
    colour = rng.choice(colours)
    board = (width - thick, height - thick)
    image.paste(tinted(0.86 + 0.24 * cloud(rng.randrange(2**31), board, 24), colour), (0, 0))
    draw.rectangle((0, 0, thick, board[1]), fill=mixed(colour, (0, 0, 0), 0.25))
    gold = (206, 172, 96)
    draw.rectangle((thick * 2, thick, board[0] - thick, board[1] - thick), outline=gold, width=5)
    label = (board[0] * 0.3, board[1] * 0.26, board[0] * 0.8, board[1] * 0.4)
    draw.rectangle(label, fill=mixed(colour, (240, 226, 190), 0.75))
    for row in (0.3, 0.335):
        draw.line(
            [(board[0] * 0.36, board[1] * row), (board[0] * 0.74, board[1] * row)],
            fill=(80, 60, 40),
            width=5,
        )


def _stack(
    image: Image.Image, size: tuple[int, int], rng: Random, count: int, colours: tuple[Colour, ...]
) -> None:
    width, height = size
    draw = ImageDraw.Draw(image)
    tall = height / count
    for number in range(count):
        top = number * tall
        left = rng.uniform(0, width * 0.06)
        right = width - rng.uniform(0, width * 0.1)
        colour = rng.choice(colours)
        draw.rounded_rectangle((left, top + 2, right, top + tall - 3), radius=10, fill=colour)
        draw.line(
            [(left + 8, top + 9), (right - 8, top + 9)],
            fill=mixed(colour, (255, 240, 210), 0.4),
            width=6,
        )
        for band in (0.14, 0.32, 0.68, 0.86):
            x = left + (right - left) * band
            draw.rectangle((x, top + 3, x + 9, top + tall - 4), fill=(200, 166, 92))
        middle = left + (right - left) * 0.5
        draw.rectangle(
            (middle - width * 0.12, top + tall * 0.25, middle + width * 0.12, top + tall * 0.75),
            fill=mixed(colour, (236, 220, 180), 0.7),
        )
