"""Damage done to the picture of a label, by our own invented models with a seed.

They are plausible, not measured on real soot or water: they serve to compare symbols with each
other, not to foretell how many labels of a real fire can be read.  All lengths are in
millimetres on the label, so that a symbol of finer modules meets the same damage.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFilter

from labels.sheets import Box

SEVERITIES: Final = (1, 2, 3, 4, 5)
TABLE_GREY: Final = 120.0
"""Grey of what the label lies on, seen around it and where it is torn off."""
CORE_GREY: Final = 190.0
"""Grey of the inner paper, seen where a strip of the face is peeled off."""

_SURROUND_MM: Final = 4.0
_NOISE: Final = 4.0
_LARGEST_TURN_DEG: Final = 15.0

Grey = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Picture:
    """A label seen by a camera.

    Attributes:
        grey: shape (height, width), 0 black to 255 white.
        symbol: box of the symbol without its quiet zone in mm from the upper left corner.
        px_per_mm: scale.
    """

    grey: Grey
    symbol: Box
    px_per_mm: float

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.grey.shape[1], self.grey.shape[0]

    def point(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """A place given in mm from the symbol's upper left corner, in pixels."""
        return (self.symbol.x + x_mm) * self.px_per_mm, (self.symbol.y + y_mm) * self.px_per_mm


Rng = np.random.Generator
Damage = Callable[[Picture, int, Rng], Grey]


def _mask(
    picture: Picture, draw: Callable[[ImageDraw.ImageDraw], None], soften_mm: float = 0.0
) -> Grey:
    """Draw on an empty mask and return it as shares from 0 to 1."""
    image = Image.new("L", picture.size_px, 0)
    draw(ImageDraw.Draw(image))
    if soften_mm:
        image = image.filter(ImageFilter.GaussianBlur(soften_mm * picture.px_per_mm))
    return np.asarray(image, dtype=np.float64) / 255


def _blurred(grey: Grey, sigma_px: float) -> Grey:
    image = Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8))
    return np.asarray(image.filter(ImageFilter.GaussianBlur(sigma_px)), dtype=np.float64)


def _ellipse(
    picture: Picture, centre_mm: tuple[float, float], axes_mm: tuple[float, float], turn: float
) -> list[tuple[float, float]]:
    """Outline of an ellipse turned by ``turn`` radians, in pixels."""
    points = []
    for angle in np.linspace(0, 2 * math.pi, 40, endpoint=False):
        x, y = axes_mm[0] * math.cos(angle), axes_mm[1] * math.sin(angle)
        points.append(
            picture.point(
                centre_mm[0] + x * math.cos(turn) - y * math.sin(turn),
                centre_mm[1] + x * math.sin(turn) + y * math.cos(turn),
            )
        )
    return points


def soot(picture: Picture, severity: int, rng: Rng) -> Grey:
    """A dark film, specks of 0.1 to 0.7 mm across and wiped smears."""
    side = picture.symbol.width
    scale = picture.px_per_mm

    def specks(draw: ImageDraw.ImageDraw) -> None:
        for _ in range(rng.poisson(0.03 * severity * side * side)):
            x, y = picture.point(*rng.uniform(-1, side + 1, 2))
            radius = rng.uniform(0.05, 0.35) * scale
            draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=255)

    def smears(draw: ImageDraw.ImageDraw) -> None:
        for _ in range((severity + 1) // 2):
            start = rng.uniform(0, side, 2)
            angle = rng.uniform(0, 2 * math.pi)
            end = start + rng.uniform(4, 12) * np.array([math.cos(angle), math.sin(angle)])
            width = max(1, round(rng.uniform(0.5, 2.0) * scale))
            draw.line([picture.point(*start), picture.point(*end)], fill=255, width=width)

    grey = picture.grey * (1 - 0.08 * severity)
    grey = grey * (1 - (0.15 + 0.11 * severity) * _mask(picture, smears, 0.3))
    return grey * (1 - 0.9 * _mask(picture, specks, 0.03))


def _blotch(picture: Picture, outline: list[tuple[float, float]]) -> tuple[Grey, Grey]:
    """Masks of a wet place and of its rim."""
    return (
        _mask(picture, lambda draw: draw.polygon(outline, fill=255), 0.3),
        _mask(picture, lambda draw: draw.line([*outline, outline[0]], fill=255, width=3)),
    )


def water(picture: Picture, severity: int, rng: Rng) -> Grey:
    """Blotches where ink runs and fades, each with a darker tide line."""
    side = picture.symbol.width
    grey = picture.grey
    for _ in range((severity + 2) // 2):
        outline = _ellipse(
            picture,
            tuple(rng.uniform(0, side, 2)),
            tuple(rng.uniform(1.5, 4, 2)),
            rng.uniform(0, 3),
        )
        wet, tide = _blotch(picture, outline)
        run = _blurred(grey, 0.07 * severity * picture.px_per_mm)
        faded = 235 - (235 - run) * (1 - 0.1 * severity)
        grey = grey * (1 - wet) + faded * wet
        grey = grey * (1 - 0.08 * severity * tide)
    return grey


def tear(picture: Picture, severity: int, rng: Rng) -> Grey:
    """A corner torn off the symbol, or a strip peeled out of it, with a ragged edge."""
    side = picture.symbol.width
    bared = TABLE_GREY
    if rng.random() < 0.5:
        leg = 0.7 * severity
        corner = rng.integers(0, 2, 2) * side
        inward = np.where(corner > 0, -1.0, 1.0)
        share = np.linspace(0, 1, 12)[:, np.newaxis]
        edge = corner + inward * leg * np.hstack([share, 1 - share])
        edge += rng.normal(0, 0.15, edge.shape)
        # Well beyond the symbol, so that quiet zone and margin go too.
        far_x, far_y = corner - inward * 30
        outline = [[far_x, edge[0][1]], *edge.tolist(), [edge[-1][0], far_y], [far_x, far_y]]
    else:
        bared = CORE_GREY
        width = 0.25 * severity
        angle = rng.uniform(0, math.pi)
        along = np.array([math.cos(angle), math.sin(angle)])
        across = np.array([-along[1], along[0]])
        centre = rng.uniform(0.2 * side, 0.8 * side, 2)
        reach = np.linspace(-side, side, 24)[:, np.newaxis]
        upper = centre + along * reach + across * (width / 2 + rng.normal(0, 0.08, reach.shape))
        lower = centre + along * reach - across * (width / 2 + rng.normal(0, 0.08, reach.shape))
        outline = [*upper.tolist(), *lower[::-1].tolist()]
    points = [picture.point(x, y) for x, y in outline]
    gone = _mask(picture, lambda draw: draw.polygon(points, fill=255))
    return picture.grey * (1 - gone) + bared * gone


def blur(picture: Picture, severity: int, rng: Rng) -> Grey:
    """Out of focus, or moved while the shutter was open."""
    if rng.random() < 0.5:
        return _blurred(picture.grey, 0.08 * severity * picture.px_per_mm)
    length_px = 0.28 * severity * picture.px_per_mm
    angle = rng.uniform(0, math.pi)
    steps = np.linspace(-length_px / 2, length_px / 2, 2 * math.ceil(length_px) + 1)
    moved = [
        np.roll(
            picture.grey, (round(step * math.sin(angle)), round(step * math.cos(angle))), (0, 1)
        )
        for step in steps
    ]
    grey: Grey = np.mean(moved, axis=0)
    return grey


def glare(picture: Picture, severity: int, rng: Rng) -> Grey:
    """A lamp's reflection: a burnt-out ellipse with a soft rim, and a veil over the rest."""
    side = picture.symbol.width
    outline = _ellipse(
        picture,
        tuple(rng.uniform(0, side, 2)),
        (1.0 * severity, 0.6 * severity),
        rng.uniform(0, math.pi),
    )
    lit = np.clip(1.5 * _mask(picture, lambda draw: draw.polygon(outline, fill=255), 0.4), 0, 1)
    veil = 0.06 * severity
    grey = picture.grey * (1 - veil) + 255 * veil
    return grey * (1 - lit) + 255 * lit


DAMAGES: Final[dict[str, Damage]] = {
    "soot": soot,
    "water": water,
    "tear": tear,
    "blur": blur,
    "glare": glare,
}


def picture_of(label: npt.NDArray[np.uint8], symbol: Box, px_per_mm: float) -> Picture:
    """Lay a label on the table.

    Args:
        label: grey image of the label, shape (height, width).
        symbol: the symbol without its quiet zone, in mm from the label's upper left corner.
        px_per_mm: scale of the image.
    """
    border = round(_SURROUND_MM * px_per_mm)
    grey = np.pad(label.astype(np.float64), border, constant_values=TABLE_GREY)
    shift = border / px_per_mm
    box = Box(symbol.x + shift, symbol.y + shift, symbol.width, symbol.height)
    return Picture(grey, box, px_per_mm)


def photographed(picture: Picture, kind: str, severity: int, seed: int) -> npt.NDArray[np.uint8]:
    """Damage a label, then see it slightly turned and with a sensor's noise.

    Args:
        picture: the sound label.
        kind: a name in :data:`DAMAGES`.
        severity: 1 to 5, or 0 for no damage.
        seed: the same seed gives the same damage at the same place, whatever the symbol.
    """
    rng = np.random.default_rng(seed)
    turn = rng.uniform(-_LARGEST_TURN_DEG, _LARGEST_TURN_DEG)
    grey = DAMAGES[kind](picture, severity, rng) if severity else picture.grey
    image = Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8))
    turned = image.rotate(turn, Image.Resampling.BICUBIC, expand=True, fillcolor=round(TABLE_GREY))
    noisy = np.asarray(turned, dtype=np.float64)
    noisy = noisy + rng.normal(0, _NOISE, noisy.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)
