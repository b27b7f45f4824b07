"""Turned forms, drawn as a lathe would cut them: pots, glass, silver, figures, baskets."""

import math
from collections.abc import Sequence
from random import Random
from typing import Final

import numpy as np
from PIL import Image, ImageDraw

from demo_data.pictures.surface import PALETTES, Colour, Field, mixed, noise
from demo_data.pieces import Look
from shared.vocabulary import Material

Profile = Sequence[tuple[float, float]]
"""Points (height from 0 at the top to 1, half width from 0 to 1) of a turned form."""

STONES: Final[dict[Material, tuple[Colour, ...]]] = {
    Material.MARBLE_ALABASTER: ((226, 222, 214),),
    Material.STONE: ((112, 112, 112), (86, 84, 88), (142, 130, 120)),
    Material.COPPER_ALLOY: ((112, 78, 44), (84, 92, 70)),
    Material.PLASTER: ((232, 228, 216),),
    Material.WAX: ((214, 168, 132),),
    Material.GILDED_GESSO: ((178, 136, 70),),
}

_VASES: Final[tuple[Profile, ...]] = (
    (
        (0, 0.42),
        (0.05, 0.36),
        (0.16, 0.34),
        (0.3, 0.9),
        (0.42, 1),
        (0.75, 0.6),
        (0.95, 0.42),
        (1, 0.46),
    ),
    ((0, 0.24), (0.03, 0.2), (0.38, 0.2), (0.55, 0.7), (0.72, 1), (0.9, 0.8), (1, 0.55)),
    (
        (0, 0.1),
        (0.05, 0.14),
        (0.1, 0.5),
        (0.13, 0.62),
        (0.17, 0.6),
        (0.3, 0.94),
        (0.5, 1),
        (0.9, 0.62),
        (1, 0.6),
    ),
)
_BOWL: Final[Profile] = ((0, 0.97), (0.06, 1), (0.4, 0.93), (0.75, 0.62), (0.9, 0.4), (1, 0.42))
_POT: Final[Profile] = (
    (0, 0.5),
    (0.06, 0.56),
    (0.12, 0.46),
    (0.35, 0.94),
    (0.5, 1),
    (0.85, 0.66),
    (1, 0.5),
)
_GOBLET: Final[Profile] = (
    (0, 0.92),
    (0.2, 1),
    (0.42, 0.8),
    (0.52, 0.16),
    (0.58, 0.1),
    (0.64, 0.2),
    (0.7, 0.1),
    (0.9, 0.14),
    (0.95, 0.7),
    (1, 0.78),
)
_DECANTER: Final[Profile] = (
    (0, 0.2),
    (0.1, 0.34),
    (0.17, 0.12),
    (0.2, 0.26),
    (0.4, 0.24),
    (0.55, 0.85),
    (0.75, 1),
    (0.96, 0.92),
    (1, 0.84),
)
_JUG: Final[Profile] = (
    (0, 0.62),
    (0.04, 0.56),
    (0.25, 0.5),
    (0.5, 0.92),
    (0.66, 1),
    (0.86, 0.6),
    (0.92, 0.5),
    (1, 0.66),
)
_BUST: Final[Profile] = (
    (0, 0.06),
    (0.03, 0.24),
    (0.12, 0.42),
    (0.28, 0.46),
    (0.4, 0.36),
    (0.46, 0.24),
    (0.54, 0.26),
    (0.62, 0.72),
    (0.72, 1),
    (0.84, 0.86),
    (0.87, 0.34),
    (0.92, 0.34),
    (0.93, 0.6),
    (1, 0.62),
)
_STANDING: Final[Profile] = (
    (0, 0),
    (0.02, 0.2),
    (0.07, 0.28),
    (0.13, 0.24),
    (0.17, 0.12),
    (0.2, 0.2),
    (0.23, 0.62),
    (0.3, 0.74),
    (0.45, 0.56),
    (0.6, 0.66),
    (0.9, 0.86),
    (0.92, 0.8),
    (0.93, 1),
    (1, 1),
)
_ROUNDED: Final[tuple[Profile, ...]] = (
    ((0, 0.1), (0.06, 0.42), (0.2, 0.62), (0.34, 0.56), (0.5, 0.9), (0.7, 1), (0.9, 0.9), (1, 0.8)),
    (
        (0, 0.16),
        (0.05, 0.34),
        (0.18, 0.46),
        (0.24, 0.3),
        (0.3, 0.6),
        (0.5, 0.78),
        (0.56, 0.52),
        (0.62, 0.86),
        (0.9, 1),
        (1, 0.94),
    ),
)


def _lathe(
    size: tuple[int, int], profile: Profile, skew: float = 0.0
) -> tuple[Field, Field, Field]:
    """A turned form in a box of ``size``: light, position across (-1 to 1) and alpha (0 to 1)."""
    width, height = size
    v = np.linspace(0, 1, height, dtype=np.float32)
    heights, halves = zip(*profile, strict=True)
    half = np.interp(v, heights, halves)
    soft = max(3, height // 28) | 1
    for _ in range(2):
        half = np.convolve(np.pad(half, soft // 2, mode="edge"), np.ones(soft) / soft, mode="valid")
    half_px = np.maximum(half * (width / 2 - 2), 0.5)[:, None]
    sway = skew * width * np.sin(v * math.tau * 0.7)[:, None]
    x = np.arange(width, dtype=np.float32)[None, :] - width / 2 - sway
    across = x / half_px
    alpha = np.clip((1 - np.abs(across)) * half_px, 0, 1)
    inside = np.clip(across, -1, 1)
    light = 0.34 + 0.72 * np.sqrt(np.clip(1 - ((inside + 0.32) / 1.34) ** 2, 0, 1))
    return light, inside, alpha


def _solid(colour: Field, light: Field, alpha: Field, gloss: Field | float = 0.0) -> Image.Image:
    rgba = np.empty((*light.shape, 4), dtype=np.float32)
    np.multiply(colour, light[..., None], out=rgba[..., :3], casting="unsafe")
    rgba[..., :3] += 255 * np.asarray(gloss, dtype=np.float32)[..., None]
    rgba[..., 3] = alpha * 255
    return Image.fromarray(np.clip(rgba, 0, 255, out=rgba).astype(np.uint8), "RGBA")


def _plain(size: tuple[int, int], colour: Colour) -> Field:
    return np.broadcast_to(np.array(colour, dtype=np.float32), (size[1], size[0], 3)).copy()


def _highlight(across: Field, strength: float) -> Field:
    shine: Field = strength * np.exp(-(((across + 0.45) / 0.09) ** 2))
    return shine


def pot(look: Look, material: Material, size: tuple[int, int], rng: Random) -> Image.Image:
    """A vase or bowl in porcelain, stoneware or earthenware."""
    glazed = material is Material.CERAMIC_HIGH
    profile = rng.choice(_VASES) if look is Look.VASE else rng.choice((_BOWL, _POT))
    light, across, alpha = _lathe(size, profile)
    base: Colour = (
        rng.choice(((228, 228, 222), (150, 178, 170), (70, 96, 128), (122, 66, 48)))
        if glazed
        else rng.choice(((172, 98, 62), (150, 118, 86), (118, 76, 56)))
    )
    colour = _plain(size, base)
    tone = np.array(rng.choice(rng.choice(PALETTES)[:4]), dtype=np.float32)
    v = np.linspace(0, 1, size[1], dtype=np.float32)[:, None]
    angle = np.arcsin(across)
    waves = rng.randint(4, 9)
    pattern = rng.choice(
        (
            np.abs(v - 0.5 - 0.06 * np.sin(angle * waves)) < 0.035,
            (np.abs(v - 0.38) < 0.012) | (np.abs(v - 0.62) < 0.012) | (np.abs(v - 0.66) < 0.006),
            (np.sin(angle * waves) * np.sin(v * 44) > 0.55) & (v > 0.3) & (v < 0.78),
        )
    )
    colour[pattern & (alpha > 0)] = tone
    rough = 0.9 + 0.2 * noise(rng.randrange(2**31), size, 60)
    return _solid(
        colour * rough[..., None], light, alpha, _highlight(across, 0.5 if glazed else 0.04)
    )


def glassware(size: tuple[int, int], rng: Random, *, tall: bool) -> Image.Image:
    """A goblet or decanter: seen through, bright at the edges."""
    profile = _DECANTER if tall else _GOBLET
    _, across, alpha = _lathe(size, profile)
    tint: Colour = rng.choice(((214, 230, 226), (150, 190, 170), (196, 170, 206), (226, 232, 236)))
    rim = np.abs(across) ** 5
    light = 0.95 - 0.5 * rim
    facets = 0.06 * np.sin(np.arcsin(across) * 14) if rng.random() < 0.5 else 0.0
    seen = alpha * np.clip(0.34 + 0.6 * rim + facets, 0, 1)
    return _solid(_plain(size, tint), light, seen, _highlight(across, 0.8))


def jug(size: tuple[int, int], rng: Random) -> Image.Image:
    """A silver jug with spout and handle."""
    width, height = size
    body = (int(width * 0.66), height)
    light, across, alpha = _lathe(body, _JUG)
    bands = 0.62 + 0.4 * np.sin(across * 5 + 0.8) ** 2
    tone: Colour = rng.choice(((204, 206, 208), (196, 198, 196)))
    turned = _solid(_plain(body, tone), (light * bands), alpha, _highlight(across, 0.6))
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    thick = max(12, width // 26)
    draw.arc(
        (width * 0.6, height * 0.14, width * 0.99, height * 0.72),
        -110,
        120,
        fill=(132, 134, 138),
        width=thick,
    )
    draw.arc(
        (width * 0.61, height * 0.15, width * 0.98, height * 0.71),
        -110,
        120,
        fill=(214, 216, 218),
        width=thick // 3,
    )
    draw.polygon(
        [(width * 0.2, height * 0.02), (0, height * 0.04), (width * 0.26, height * 0.36)],
        fill=(168, 170, 172),
    )
    image.alpha_composite(turned, (int(width * 0.1), 0))
    return image


def figure(material: Material, size: tuple[int, int], rng: Random) -> Image.Image:
    """A bust, a standing figure or an abstract form, by its material."""
    if material in {Material.MARBLE_ALABASTER, Material.PLASTER, Material.WAX}:
        profile: Profile = _BUST
    elif material is Material.GILDED_GESSO:
        profile = _STANDING
    else:
        profile = rng.choice((*_ROUNDED, _BUST, _STANDING))
    light, across, alpha = _lathe(size, profile, skew=rng.uniform(-0.03, 0.03))
    tone = rng.choice(STONES[material])
    seed = rng.randrange(2**31)
    colour = _plain(size, tone)
    speckle = 0.55 + 0.9 * noise(seed, size, 150) if material is Material.STONE else None
    veins = np.abs(noise(seed + 1, size, 5) - 0.5) < 0.012
    if material is Material.MARBLE_ALABASTER:
        colour[veins] *= 0.82
    if material is Material.GILDED_GESSO:
        robe = np.linspace(0, 1, size[1])[:, None] + 0 * across
        colour[(robe > 0.2) & (across < 0.25)] = rng.choice(((52, 82, 122), (140, 44, 44)))
        colour[robe < 0.17] = (222, 180, 146)
    modelling = 0.84 + 0.32 * noise(seed + 2, size, 11)
    shade = light * (modelling if speckle is None else (modelling + speckle) / 2)
    shine = 0.42 if material is Material.COPPER_ALLOY else 0.1
    image = _solid(colour, shade, alpha, _highlight(across, shine))
    if profile is _BUST:
        _features(image, size, tone)
    return image


def _features(image: Image.Image, size: tuple[int, int], tone: Colour) -> None:
    """Brow, nose and mouth, barely there."""
    width, height = size
    draw = ImageDraw.Draw(image)
    dark = (*mixed(tone, (0, 0, 0), 0.35), 255)
    middle, line = width * 0.47, max(4, width // 90)
    for side in (-1, 1):
        x = middle + side * width * 0.08
        draw.arc(
            (x - width * 0.05, height * 0.2, x + width * 0.05, height * 0.25), 200, 340, dark, line
        )
    draw.line(
        [
            (middle, height * 0.225),
            (middle - width * 0.03, height * 0.3),
            (middle + width * 0.01, height * 0.305),
        ],
        fill=dark,
        width=line,
    )
    draw.arc(
        (middle - width * 0.06, height * 0.32, middle + width * 0.05, height * 0.35),
        10,
        170,
        dark,
        line,
    )


def basket(size: tuple[int, int], rng: Random) -> Image.Image:
    """A woven basket with its handle."""
    width, height = size
    body = (width, int(height * 0.62))
    light, across, alpha = _lathe(body, ((0, 1), (0.06, 1), (0.5, 0.94), (0.9, 0.72), (1, 0.68)))
    v = np.linspace(0, 1, body[1], dtype=np.float32)[:, None]
    turn = np.arcsin(across)
    weave = np.sin(turn * 22) * np.where((v * 15).astype(int) % 2 == 0, 1, -1)
    rows = np.abs(np.sin(v * 15 * math.pi))
    tone: Colour = rng.choice(((176, 134, 78), (148, 112, 72), (196, 164, 112)))
    shade = light * (0.72 + 0.2 * (weave > 0) + 0.2 * rows)
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    hoop = (width * 0.1, 6, width * 0.9, height * 0.9)
    for thick, fill in ((34, mixed(tone, (0, 0, 0), 0.45)), (20, tone)):
        draw.arc(hoop, 180, 360, fill=fill, width=thick)
    image.alpha_composite(_solid(_plain(body, tone), shade, alpha), (0, height - body[1]))
    draw.rounded_rectangle(
        (2, height - body[1] - 10, width - 2, height - body[1] + 20),
        radius=14,
        fill=mixed(tone, (0, 0, 0), 0.2),
    )
    return image
