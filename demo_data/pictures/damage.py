"""What happened, painted over a piece: soot, water, mud, mould, powder, heat, breaks."""

import math
from collections.abc import Callable
from random import Random
from typing import Final

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from demo_data.pictures.surface import Colour, Field, cloud, noise
from demo_data.sites import Harm
from shared.vocabulary import Damage, Extent

Box = tuple[int, int, int, int]

_SHARE: Final = {Extent.SLIGHT: 0.25, Extent.PARTIAL: 0.5, Extent.WIDE: 0.9}


def paint_damage(piece: Image.Image, harms: tuple[Harm, ...], rng: Random) -> Image.Image:
    """``piece`` (RGBA) with each harm painted on it, inside its own outline."""
    rgb, alpha = piece.convert("RGB"), piece.getchannel("A")
    box = alpha.getbbox()
    if box is None:
        return piece
    for harm in sorted(harms, key=lambda each: _ORDER.index(each.damage)):
        painter = _PAINTERS.get(harm.damage)
        if painter is not None:
            rgb.paste(painter(rgb.crop(box), _SHARE[harm.extent], rng), box[:2])
    rgb.putalpha(alpha)
    return rgb


def _axes(image: Image.Image) -> tuple[Field, Field]:
    width, height = image.size
    x = np.linspace(0, 1, width, dtype=np.float32)[None, :]
    y = np.linspace(0, 1, height, dtype=np.float32)[:, None]
    return x, y


def _veil(image: Image.Image, strength: Field, colour: Colour) -> Image.Image:
    """``colour`` laid over ``image`` with ``strength`` from 0 to 1."""
    cover = Image.fromarray((np.clip(strength, 0, 1) * 255).astype(np.uint8), "L")
    veiled = image.copy()
    veiled.paste(colour, (0, 0, *image.size), cover)
    return veiled


def _seed(rng: Random) -> int:
    return rng.randrange(2**31)


def _soot_dry(image: Image.Image, share: float, rng: Random) -> Image.Image:
    _, y = _axes(image)
    patches = cloud(_seed(rng), image.size, 4)
    strength = (0.25 + 0.5 * share) * np.clip(1.15 - y * (1.5 - share) + patches - 0.5, 0, 1)
    specks = noise(_seed(rng), image.size, 190) > 0.93
    return _veil(image, np.maximum(strength, 0.5 * specks * share), (30, 28, 28))


def _soot_wet(image: Image.Image, share: float, rng: Random) -> Image.Image:
    width, height = image.size
    smear = Image.new("L", image.size, 0)
    draw = ImageDraw.Draw(smear)
    for _ in range(int(8 + 26 * share)):
        start = (rng.uniform(0, width), rng.uniform(-0.1, 0.8) * height)
        end = (
            start[0] + rng.uniform(-0.14, 0.14) * width,
            start[1] + rng.uniform(0.1, 0.4) * height,
        )
        draw.line(
            [start, end], fill=rng.randint(110, 230), width=int(width * rng.uniform(0.01, 0.06))
        )
    soft = np.asarray(smear.filter(ImageFilter.BoxBlur(7)), dtype=np.float32) / 255
    film = 0.35 * share * cloud(_seed(rng), image.size, 6)
    return _veil(image, np.maximum(0.82 * soft, film), (26, 20, 14))


def _powder(image: Image.Image, share: float, rng: Random) -> Image.Image:
    drift = np.clip((cloud(_seed(rng), image.size, 7) - 0.62 + 0.3 * share) * 3, 0, 1)
    grains = 0.55 + 0.45 * noise(_seed(rng), image.size, 200)
    return _veil(image, 0.88 * drift * grains, (236, 226, 178))


def _front(image: Image.Image, share: float, rng: Random) -> Field:
    """Height of a ragged water line, measured from 1 at the line down to more below it."""
    x, y = _axes(image)
    line = 1 - share * 0.72
    wave = 0.05 * np.sin(x * rng.uniform(5, 11) + rng.uniform(0, 6))
    ragged = 0.14 * (noise(_seed(rng), image.size, 9) - 0.5)
    depth: Field = y - line + wave + ragged
    return depth


def _tide(image: Image.Image, share: float, rng: Random) -> Image.Image:
    depth = _front(image, share, rng)
    wet = _veil(image, np.where(depth > 0, 0.3, 0.0), (44, 38, 30))
    ring = np.exp(-((depth / 0.011) ** 2)) * 0.75
    second = np.exp(-(((depth - 0.09) / 0.009) ** 2)) * 0.35
    return _veil(wet, (ring + second), (104, 70, 34))


def _damp(image: Image.Image, share: float, rng: Random) -> Image.Image:
    patches = np.clip((cloud(_seed(rng), image.size, 4) - 0.58 + 0.2 * share) * 5, 0, 1)
    edge = np.exp(-(((patches - 0.4) / 0.14) ** 2)) * 0.35
    stained = _veil(image, 0.26 * patches, (52, 46, 38))
    return _veil(stained, edge, (120, 88, 50))


def _mud(image: Image.Image, share: float, rng: Random) -> Image.Image:
    depth = _front(image, share * 0.9, rng)
    thick = np.clip(depth * 4, 0, 1) * (0.5 + 0.6 * cloud(_seed(rng), image.size, 12))
    splashes = np.clip((cloud(_seed(rng), image.size, 24) - 0.76) * 9, 0, 0.8)
    return _veil(image, np.maximum(thick, splashes), (108, 86, 58))


def _mould(image: Image.Image, share: float, rng: Random) -> Image.Image:
    halo = Image.new("L", image.size, 0)
    spots = Image.new("L", image.size, 0)
    around, on = ImageDraw.Draw(halo), ImageDraw.Draw(spots)
    width, height = image.size
    reach = min(width, height)
    for _ in range(int(3 + 9 * share)):
        middle = (rng.random() * width, rng.random() * height)
        spread = reach * rng.uniform(0.04, 0.13)
        for _ in range(int(14 + 30 * share)):
            x, y = rng.gauss(middle[0], spread), rng.gauss(middle[1], spread)
            size = reach * rng.uniform(0.004, 0.02)
            around.ellipse((x - size * 2, y - size * 2, x + size * 2, y + size * 2), fill=150)
            on.ellipse((x - size, y - size, x + size, y + size), fill=rng.randint(150, 235))
    glow = np.asarray(halo.filter(ImageFilter.BoxBlur(6)), dtype=np.float32) / 255
    dots = np.asarray(spots.filter(ImageFilter.BoxBlur(1)), dtype=np.float32) / 255
    pale = _veil(image, 0.6 * glow, (196, 204, 182))
    return _veil(pale, dots, rng.choice(((48, 58, 46), (58, 70, 62), (40, 36, 40))))


def _heat(image: Image.Image, share: float, rng: Random) -> Image.Image:
    blisters = np.clip((noise(_seed(rng), image.size, 30) - 0.8 + 0.2 * share) * 6, 0, 1)
    brown = 0.42 * share * cloud(_seed(rng), image.size, 3)
    toasted = _veil(image, brown, (112, 70, 30))
    return _veil(toasted, 0.35 * blisters, (236, 220, 190))


def _charred(image: Image.Image, share: float, rng: Random) -> Image.Image:
    x, y = _axes(image)
    corner = rng.choice(((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)))
    far = np.sqrt((x - corner[0]) ** 2 + (y - corner[1]) ** 2)
    edge = far - 0.32 - 0.35 * share + 0.34 * (cloud(_seed(rng), image.size, 11) - 0.5)
    scorched = _veil(image, np.clip(0.9 - edge * 6, 0, 0.85), (92, 52, 20))
    return _veil(scorched, np.clip(-edge * 9, 0, 1), (18, 16, 16))


def _flaking(image: Image.Image, share: float, rng: Random) -> Image.Image:
    width, height = image.size
    flakes = image.copy()
    draw = ImageDraw.Draw(flakes)
    for _ in range(int(16 + 40 * share)):
        x, y = rng.random() * width, height * (1 - rng.random() ** 2 * 0.6)
        reach = min(width, height) * rng.uniform(0.008, 0.024)
        turns = sorted(rng.uniform(0, math.tau) for _ in range(5))
        outline = [(x + reach * math.cos(t), y + reach * math.sin(t)) for t in turns]
        draw.polygon([(px + 2, py + 2) for px, py in outline], fill=(50, 42, 36))
        draw.polygon(outline, fill=(228, 218, 198))
    return flakes


def _bleed(image: Image.Image, share: float, rng: Random) -> Image.Image:
    run = image
    step = max(4, image.height // 40)
    for _ in range(3):
        lower = Image.new("RGB", image.size, image.resize((1, 1)).getpixel((0, 0)))
        lower.paste(run, (0, step))
        lower.paste(run.crop((0, 0, image.width, step)), (0, 0))
        run = Image.blend(run, lower.filter(ImageFilter.BoxBlur(4)), 0.5)
    where = np.clip((cloud(_seed(rng), image.size, 4) - 0.6 + 0.45 * share) * 4, 0, 1)
    return Image.composite(run, image, Image.fromarray((where * 235).astype(np.uint8), "L"))


def _corrosion(image: Image.Image, share: float, rng: Random) -> Image.Image:
    rust = np.clip((cloud(_seed(rng), image.size, 16) - 0.66 + 0.3 * share) * 5, 0, 0.85)
    return _veil(image, rust, rng.choice(((150, 78, 34), (92, 138, 112))))


def _warped(image: Image.Image, share: float, rng: Random) -> Image.Image:
    x, y = _axes(image)
    ripple = np.sin((x * 3 + y * 1.2) * rng.uniform(5, 9) + rng.uniform(0, 6))
    dark = np.clip(-ripple, 0, 1) * (0.12 + 0.18 * share)
    lit = np.clip(ripple, 0, 1) * (0.08 + 0.12 * share)
    return _veil(_veil(image, dark, (20, 18, 16)), lit, (250, 248, 240))


def _cracks(image: Image.Image, rng: Random, colour: Colour, rays: int) -> Image.Image:
    width, height = image.size
    cracked = image.copy()
    draw = ImageDraw.Draw(cracked)
    hit = (width * rng.uniform(0.25, 0.75), height * rng.uniform(0.2, 0.7))
    for ray in range(rays):
        angle = math.tau * ray / rays + rng.uniform(-0.25, 0.25)
        point, path = hit, [hit]
        for _ in range(6):
            length = max(width, height) * rng.uniform(0.05, 0.16)
            angle += rng.uniform(-0.3, 0.3)
            point = (point[0] + length * math.cos(angle), point[1] + length * math.sin(angle))
            path.append(point)
        draw.line([(x + 2, y + 2) for x, y in path], fill=(40, 40, 42), width=2)
        draw.line(path, fill=colour, width=2)
    return cracked


def _broken_glass(image: Image.Image, share: float, rng: Random) -> Image.Image:
    return _cracks(image, rng, (244, 250, 250), round(7 + 6 * share))


def _broken(image: Image.Image, share: float, rng: Random) -> Image.Image:
    cracked = _cracks(image, rng, (56, 50, 46), round(2 + 3 * share))
    width, height = image.size
    x, y = width * rng.choice((0.06, 0.94)), height * rng.uniform(0.02, 0.3)
    reach = min(width, height) * 0.16
    turns = [math.tau * number / 7 for number in range(7)]
    chip = [
        (
            x + reach * rng.uniform(0.6, 1.1) * math.cos(t),
            y + reach * rng.uniform(0.6, 1.1) * math.sin(t),
        )
        for t in turns
    ]
    ImageDraw.Draw(cracked).polygon(chip, fill=(58, 54, 52))
    return cracked


def _stuck(image: Image.Image, share: float, rng: Random) -> Image.Image:
    patch = np.clip((cloud(_seed(rng), image.size, 3) - 0.6 + 0.25 * share) * 7, 0, 1)
    edge = np.exp(-(((patch - 0.5) / 0.2) ** 2)) * 0.5
    return _veil(_veil(image, 0.25 * patch, (30, 34, 40)), edge, (238, 244, 246))


Painter = Callable[[Image.Image, float, Random], Image.Image]

_PAINTERS: Final[dict[Damage, Painter]] = {
    Damage.DYE_BLEED: _bleed,
    Damage.WARPED: _warped,
    Damage.HEAT: _heat,
    Damage.FLAKING: _flaking,
    Damage.CORROSION: _corrosion,
    Damage.BROKEN: _broken,
    Damage.SOAKED: _tide,
    Damage.DAMP: _damp,
    Damage.STUCK_TO_GLAZING: _stuck,
    Damage.SOOT_DRY: _soot_dry,
    Damage.SOOT_WET: _soot_wet,
    Damage.MUD: _mud,
    Damage.MOULD_VISIBLE: _mould,
    Damage.EXTINGUISHER_POWDER: _powder,
    Damage.CHARRED: _charred,
    Damage.BROKEN_GLAZING: _broken_glass,
}
"""In the order they are laid on. Smells and humid air can't be seen."""

_ORDER: Final = (*_PAINTERS, *(damage for damage in Damage if damage not in _PAINTERS))
