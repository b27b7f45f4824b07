"""Surfaces: noise, wood grain, palettes and the ground that a piece is photographed on."""

from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Colour = tuple[int, int, int]
Field = NDArray[np.floating[Any]]

SIZE: Final = (1000, 750)
"""Width and height of a photo in pixels."""

PALETTES: Final[tuple[tuple[Colour, ...], ...]] = (
    ((34, 60, 84), (92, 133, 151), (214, 201, 168), (186, 108, 62), (242, 232, 210)),
    ((58, 47, 40), (138, 94, 58), (201, 160, 96), (88, 110, 84), (236, 222, 190)),
    ((29, 45, 42), (78, 112, 88), (170, 180, 128), (222, 168, 92), (240, 236, 214)),
    ((66, 38, 56), (143, 73, 84), (217, 138, 108), (88, 108, 138), (244, 226, 204)),
    ((40, 42, 62), (84, 92, 140), (150, 160, 184), (224, 190, 104), (236, 232, 226)),
    ((70, 52, 28), (158, 118, 48), (92, 132, 134), (196, 84, 54), (246, 238, 216)),
    ((24, 52, 66), (36, 112, 122), (128, 178, 164), (232, 176, 130), (250, 240, 222)),
    ((48, 48, 46), (112, 110, 102), (168, 162, 148), (176, 70, 48), (238, 234, 224)),
)

WOODS: Final[tuple[Colour, ...]] = ((112, 70, 40), (146, 98, 58), (84, 50, 32), (170, 124, 78))


def noise(seed: int, size: tuple[int, int], cells: int) -> Field:
    """Smooth noise from 0 to 1, shape (height, width); ``cells`` blobs across the width."""
    return _enlarged(_speckle(seed, _lattice(size, cells)), size)


def cloud(seed: int, size: tuple[int, int], cells: int) -> Field:
    """Noise of three octaves from 0 to 1, shape (height, width)."""
    middle, fine = _lattice(size, cells * 3), _lattice(size, cells * 9)
    field = 0.55 * _enlarged(_speckle(seed, _lattice(size, cells)), middle)
    field += 0.3 * _speckle(seed + 1, middle)
    return _enlarged(_enlarged(field, fine) + 0.15 * _speckle(seed + 2, fine), size)


def _lattice(size: tuple[int, int], cells: int) -> tuple[int, int]:
    """Width and height of a grid with ``cells`` cells across an image of ``size``."""
    width, height = size
    return max(2, cells), max(2, round(cells * height / width))


def _speckle(seed: int, size: tuple[int, int]) -> Field:
    return np.random.default_rng(seed).random((size[1], size[0]), dtype=np.float32)


def _enlarged(field: Field, size: tuple[int, int]) -> Field:
    smooth = Image.fromarray(field).resize(size, Image.Resampling.BICUBIC)
    clipped: Field = np.clip(np.asarray(smooth, dtype=np.float32), 0.0, 1.0)
    return clipped


def grain(seed: int, size: tuple[int, int], colour: Colour, *, upright: bool) -> Image.Image:
    """Wood of ``colour`` with its grain lengthwise."""
    width, height = size
    stretched = (max(2, width // 90), max(2, height // 5))
    if upright:
        stretched = (max(2, width // 5), max(2, height // 90))
    return tinted(0.78 + 0.4 * _enlarged(_speckle(seed, stretched), size), colour)


def tinted(shade: Field, colour: Colour) -> Image.Image:
    """An opaque image of ``colour`` times ``shade``, which counts up to 2."""
    levels = Image.fromarray(np.clip(shade * 127.5, 0, 255).astype(np.uint8), "L")
    channels = [
        levels.point([min(255, round(level * part / 127.5)) for level in range(256)])
        for part in colour
    ]
    return Image.merge("RGBA", [*channels, Image.new("L", levels.size, 255)])


def mixed(first: Colour, second: Colour, share: float) -> Colour:
    """A colour ``share`` of the way from ``first`` to ``second``."""
    red, green, blue = (round(a + (b - a) * share) for a, b in zip(first, second, strict=True))
    return red, green, blue


GROUNDS: Final = ("blanket", "planks", "concrete", "sheet", "tarpaulin")


@lru_cache(maxsize=16)
def ground(name: str, variant: int) -> Image.Image:
    """What the piece lies on or stands before, lit from the upper left."""
    width, height = SIZE
    x = np.linspace(0, 1, width, dtype=np.float32)[None, :]
    y = np.linspace(0, 1, height, dtype=np.float32)[:, None]
    light = 1.1 - 0.32 * ((x - 0.35) ** 2 + (y - 0.35) ** 2)
    seed = 7_000 + 10 * variant + GROUNDS.index(name)
    texture = 0.94 + 0.12 * cloud(seed, SIZE, 6)
    if name == "planks":
        board = ((y * 6).astype(np.int32) * 37 % 11).astype(np.float32) / 80
        seam = np.where((y * 6) % 1 < 0.02, 0.6, 1.0).astype(np.float32)
        wood = np.asarray(grain(seed, SIZE, (150, 126, 100), upright=False))[..., :3]
        shade = (light * seam * (0.92 + board))[..., None]
        rgb = np.clip(wood * shade, 0, 255)
        return Image.fromarray(rgb.astype(np.uint8), "RGB")
    colours: dict[str, Colour] = {
        "blanket": (122, 126, 132),
        "concrete": (158, 154, 146),
        "sheet": (206, 204, 196),
        "tarpaulin": (92, 116, 132),
    }
    if name == "blanket":
        quilt = np.sin((x + y * 0.75) * 60) * np.sin((x - y * 0.75) * 60)
        texture = texture + 0.035 * quilt.astype(np.float32)
    if name in {"sheet", "tarpaulin"}:
        folds = np.sin(x * 9 + 5 * noise(seed + 5, SIZE, 3)) * 0.05
        texture = texture + folds.astype(np.float32)
    return tinted((light * texture).astype(np.float32), colours[name]).convert("RGB")
