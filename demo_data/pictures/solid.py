"""Furniture, boxes, clocks, reels and other solid or cased pieces."""

import math
from random import Random

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from demo_data.pictures.flat import artwork, composition
from demo_data.pictures.surface import WOODS, Colour, grain, mixed, noise, tinted
from demo_data.pieces import Look
from shared.vocabulary import Material


def plates(size: tuple[int, int], rng: Random, quantity: int) -> Image.Image:
    """A fan of plates, blue under the glaze."""
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    width, height = size
    shown = min(quantity, 4)
    radius = min(width / (1 + 0.42 * (shown - 1)), height) / 2 - 4
    blue = rng.choice(((38, 66, 130), (30, 88, 110), (64, 54, 118)))
    petals = rng.randint(8, 14)
    for number in range(shown):
        x, y = radius + 4 + number * radius * 0.84, height / 2
        for scale, fill in (
            (1.0, (196, 198, 200)),
            (0.985, (238, 238, 234)),
            (0.64, (214, 216, 216)),
            (0.62, (242, 242, 238)),
        ):
            reach = radius * scale
            draw.ellipse((x - reach, y - reach, x + reach, y + reach), fill=(*fill, 255))
        for scale in (0.93, 0.7):
            reach = radius * scale
            draw.ellipse((x - reach, y - reach, x + reach, y + reach), outline=blue, width=7)
        for petal in range(petals):
            angle = math.tau * petal / petals
            for reach, dot in ((0.82, 0.06), (0.3, 0.05)):
                px, py = x + radius * reach * math.cos(angle), y + radius * reach * math.sin(angle)
                spot = radius * dot
                draw.ellipse((px - spot, py - spot, px + spot, py + spot), fill=blue)
        draw.ellipse(
            (x - radius * 0.12, y - radius * 0.12, x + radius * 0.12, y + radius * 0.12),
            fill=mixed(blue, (255, 255, 255), 0.3),
        )
    return image


def chair(size: tuple[int, int], rng: Random) -> Image.Image:
    """A side chair with ladder or splat back, seen a little from the side."""
    width, height = size
    wood = rng.choice(WOODS)
    light, dark = mixed(wood, (255, 230, 190), 0.3), mixed(wood, (0, 0, 0), 0.4)
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    post = max(16, width // 14)
    back_left, back_right = width * 0.2, width * 0.82
    front_left, front_right = width * 0.06, width * 0.94
    seat_back, seat_front = height * 0.52, height * 0.62

    def bar(start: tuple[float, float], end: tuple[float, float], thick: int, tone: Colour) -> None:
        draw.line([start, end], fill=tone, width=thick)
        draw.line(
            [(start[0] - thick * 0.2, start[1]), (end[0] - thick * 0.2, end[1])],
            fill=mixed(tone, (255, 240, 210), 0.25),
            width=max(2, thick // 4),
        )

    for x in (back_left + post, back_right - post):
        bar((x, seat_back), (x, height * 0.92), post, dark)
    bar((back_left + post, height * 0.78), (back_right - post, height * 0.78), post // 2, dark)
    if rng.random() < 0.5:
        for step in range(4):
            y = height * (0.08 + 0.11 * step)
            draw.rounded_rectangle(
                (back_left, y, back_right, y + height * 0.05), radius=14, fill=wood
            )
            draw.line([(back_left, y + 5), (back_right, y + 5)], fill=light, width=5)
    else:
        middle = (back_left + back_right) / 2
        draw.rounded_rectangle(
            (back_left - 10, 4, back_right + 10, height * 0.09), radius=24, fill=wood
        )
        draw.polygon(
            [
                (middle - width * 0.1, height * 0.08),
                (middle + width * 0.1, height * 0.08),
                (middle + width * 0.05, height * 0.3),
                (middle + width * 0.11, seat_back),
                (middle - width * 0.11, seat_back),
                (middle - width * 0.05, height * 0.3),
            ],
            fill=mixed(wood, (0, 0, 0), 0.12),
        )
        draw.ellipse(
            (middle - width * 0.04, height * 0.2, middle + width * 0.04, height * 0.27), fill=light
        )
    bar((back_left, height * 0.01), (back_left, seat_back), post, wood)
    bar((back_right, height * 0.01), (back_right, seat_back), post, wood)
    rush = rng.choice(((196, 168, 110), (130, 40, 44), (70, 92, 84), light))
    draw.polygon(
        [
            (back_left - post, seat_back),
            (back_right + post, seat_back),
            (front_right, seat_front),
            (front_left, seat_front),
        ],
        fill=rush,
    )
    for line in range(9):
        share = line / 8
        draw.line(
            [
                (back_left - post + (back_right - back_left + 2 * post) * share, seat_back),
                (front_left + (front_right - front_left) * share, seat_front),
            ],
            fill=mixed(rush, (0, 0, 0), 0.18),
            width=3,
        )
    draw.rectangle((front_left, seat_front, front_right, seat_front + post * 0.9), fill=wood)
    for x in (front_left + post / 2, front_right - post / 2):
        bar((x, seat_front), (x, height - 4), post, wood)
    bar((front_left + post, height * 0.8), (front_right - post, height * 0.8), post // 2, wood)
    return image


def armchair(size: tuple[int, int], rng: Random) -> Image.Image:
    """An upholstered chair from the front."""
    width, height = size
    cover = rng.choice(((96, 112, 92), (134, 62, 58), (70, 86, 116), (168, 140, 92)))
    light, dark = mixed(cover, (255, 255, 240), 0.25), mixed(cover, (0, 0, 0), 0.35)
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    for x in (0.12, 0.82):
        draw.polygon(
            [
                (width * x, height * 0.86),
                (width * (x + 0.07), height * 0.86),
                (width * (x + 0.05), height - 3),
                (width * (x + 0.02), height - 3),
            ],
            fill=(74, 46, 30),
        )
    draw.rounded_rectangle(
        (width * 0.08, 4, width * 0.92, height * 0.7), radius=width // 7, fill=dark
    )
    draw.rounded_rectangle(
        (width * 0.14, height * 0.03, width * 0.86, height * 0.66), radius=width // 8, fill=cover
    )
    for row in (0.16, 0.3):
        for column in (0.28, 0.42, 0.58, 0.72):
            x, y = width * column, height * row
            draw.ellipse((x - 9, y - 9, x + 9, y + 9), fill=dark)
    draw.rounded_rectangle(
        (width * 0.14, height * 0.5, width * 0.86, height * 0.7), radius=34, fill=light
    )
    draw.rectangle((width * 0.1, height * 0.68, width * 0.9, height * 0.88), fill=cover)
    for left in (0.0, 0.8):
        box = (width * left, height * 0.4, width * (left + 0.2), height * 0.88)
        draw.rounded_rectangle(box, radius=width // 11, fill=mixed(cover, (0, 0, 0), 0.12))
        draw.ellipse((box[0] + 10, box[1] + 8, box[2] - 10, box[1] + width * 0.16), fill=light)
    nap = 0.9 + 0.2 * noise(rng.randrange(2**31), size, 140)
    rgba = np.array(image, dtype=np.float32)
    rgba[..., :3] *= nap[..., None]
    return Image.fromarray(np.clip(rgba, 0, 255).astype(np.uint8), "RGBA")


def chest(size: tuple[int, int], rng: Random, *, veneered: bool) -> Image.Image:
    """A chest of drawers or a cabinet from the front."""
    width, height = size
    wood = WOODS[2] if veneered else rng.choice((*WOODS, (104, 124, 118)))
    dark, light = mixed(wood, (0, 0, 0), 0.45), mixed(wood, (255, 226, 180), 0.4)
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    body = (int(width * 0.04), int(height * 0.05), int(width * 0.96), int(height * 0.9))
    extent = (body[2] - body[0], body[3] - body[1])
    image.paste(grain(rng.randrange(2**31), extent, wood, upright=False), body[:2])
    for x in (0.06, 0.84):
        draw.polygon(
            [
                (width * x, height * 0.88),
                (width * (x + 0.1), height * 0.88),
                (width * (x + 0.07), height - 3),
                (width * (x + 0.03), height - 3),
            ],
            fill=dark,
        )
    drawers = rng.randint(2, 4)
    for number in range(drawers):
        top = body[1] + extent[1] * (number + 0.08) / drawers
        bottom = body[1] + extent[1] * (number + 0.94) / drawers
        front = (body[0] + 26, int(top), body[2] - 26, int(bottom))
        if veneered:
            panel = grain(
                rng.randrange(2**31),
                (front[2] - front[0], front[3] - front[1]),
                mixed(wood, (180, 110, 60), 0.5),
                upright=True,
            )
            image.paste(panel, front[:2])
        draw.rectangle(front, outline=dark, width=6)
        draw.line([(front[0], front[1] + 6), (front[2], front[1] + 6)], fill=light, width=3)
        for share in (0.22, 0.78):
            x, y = front[0] + (front[2] - front[0]) * share, (top + bottom) / 2
            draw.ellipse((x - 17, y - 17, x + 17, y + 17), fill=(176, 140, 74))
            draw.arc((x - 30, y - 8, x + 30, y + 36), 0, 180, fill=(198, 164, 96), width=8)
    draw.rectangle((0, 0, width, height * 0.055), fill=light)
    draw.rectangle((0, height * 0.04, width, height * 0.055), fill=dark)
    return image


def box(material: Material, size: tuple[int, int], rng: Random) -> Image.Image:
    """A small box in lacquer, bone or leather, lid towards us."""
    width, height = size
    tones: dict[Material, Colour] = {
        Material.LACQUER: rng.choice(((30, 26, 28), (120, 30, 28))),
        Material.BONE_IVORY: (226, 214, 184),
        Material.LEATHER: rng.choice(((104, 62, 36), (62, 58, 50))),
    }
    tone = tones[material]
    lid = int(height * 0.42)
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    rough = 0.9 + 0.2 * noise(rng.randrange(2**31), size, 80)
    skin = tinted(rough, tone)
    mask = Image.new("L", size, 0)
    edge = ImageDraw.Draw(mask)
    inset = int(width * 0.09)
    edge.polygon(
        [
            (inset, 0),
            (width - inset, 0),
            (width - 1, lid),
            (width - 1, height - 1),
            (0, height - 1),
            (0, lid),
        ],
        fill=255,
    )
    image.paste(skin, (0, 0), mask)
    shade = Image.new("RGBA", size, (0, 0, 0, 0))
    dark = ImageDraw.Draw(shade)
    dark.rectangle((0, lid, width, height), fill=(0, 0, 0, 66))
    dark.line([(0, lid), (width, lid)], fill=(255, 255, 255, 90), width=6)
    dark.line(
        [(0, lid + height * 0.16), (width, lid + height * 0.16)], fill=(0, 0, 0, 130), width=6
    )
    image.alpha_composite(Image.composite(shade, Image.new("RGBA", size), mask))
    draw = ImageDraw.Draw(image)
    if material is Material.LACQUER:
        gold = (204, 164, 78)
        for _ in range(9):
            x, y = rng.uniform(0.2, 0.75) * width, rng.uniform(0.08, 0.34) * height
            reach = rng.uniform(0.03, 0.07) * width
            for turn in range(5):
                angle = math.tau * turn / 5
                draw.line(
                    [(x, y), (x + reach * math.cos(angle), y + 0.6 * reach * math.sin(angle))],
                    fill=gold,
                    width=6,
                )
    else:
        stud = (190, 152, 82) if material is Material.LEATHER else (120, 104, 76)
        for number in range(12):
            x = width * (0.04 + 0.92 * number / 11)
            for y in (lid + height * 0.06, height * 0.95):
                draw.ellipse((x - 9, y - 9, x + 9, y + 9), fill=stud)
    draw.rectangle(
        (width * 0.46, lid + height * 0.1, width * 0.54, lid + height * 0.26), fill=(186, 150, 80)
    )
    return image


def clock(size: tuple[int, int], rng: Random) -> Image.Image:
    """A mantel clock."""
    width, height = size
    wood = rng.choice(WOODS)
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    mask = Image.new("L", size, 0)
    cut = ImageDraw.Draw(mask)
    cut.rectangle((width * 0.1, height * 0.28, width * 0.9, height * 0.9), fill=255)
    cut.ellipse((width * 0.1, 0, width * 0.9, height * 0.58), fill=255)
    cut.rectangle((0, height * 0.88, width, height), fill=255)
    image.paste(grain(rng.randrange(2**31), size, wood, upright=True), (0, 0), mask)
    draw = ImageDraw.Draw(image)
    x, y, radius = width / 2, height * 0.36, min(width, height) * 0.27
    for reach, fill in ((radius * 1.12, (190, 150, 80)), (radius, (244, 240, 226))):
        draw.ellipse((x - reach, y - reach, x + reach, y + reach), fill=fill)
    for hour in range(12):
        angle = math.tau * hour / 12
        ends = [
            (x + radius * r * math.sin(angle), y - radius * r * math.cos(angle))
            for r in (0.8, 0.94)
        ]
        draw.line(ends, fill=(30, 28, 28), width=9)
    for reach, thick, turn in ((0.52, 13, rng.random()), (0.78, 8, rng.random())):
        angle = math.tau * turn
        draw.line(
            [(x, y), (x + radius * reach * math.sin(angle), y - radius * reach * math.cos(angle))],
            fill=(24, 24, 30),
            width=thick,
        )
    draw.rounded_rectangle(
        (width * 0.34, height * 0.68, width * 0.66, height * 0.84),
        radius=12,
        fill=mixed(wood, (0, 0, 0), 0.5),
    )
    draw.line(
        [(0, height * 0.885), (width, height * 0.885)],
        fill=mixed(wood, (255, 230, 190), 0.5),
        width=8,
    )
    return image


def reel(size: tuple[int, int], rng: Random) -> Image.Image:
    """A film or tape reel on its can."""
    width, height = size
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    metal = rng.choice(((156, 158, 160), (136, 120, 96), (92, 110, 104)))
    x, y, radius = width / 2, height / 2, min(size) / 2 - 4
    for scale, fill in (
        (1, mixed(metal, (0, 0, 0), 0.4)),
        (0.97, metal),
        (0.86, (52, 36, 30)),
        (0.8, (74, 52, 40)),
        (0.42, metal),
    ):
        reach = radius * scale
        draw.ellipse((x - reach, y - reach, x + reach, y + reach), fill=fill)
    for ring in range(12):
        reach = radius * (0.44 + 0.034 * ring)
        draw.ellipse((x - reach, y - reach, x + reach, y + reach), outline=(58, 40, 32), width=3)
    for spoke in range(3):
        angle = math.tau * (spoke / 3 + rng.random() * 0.02)
        tip = (x + radius * 0.9 * math.cos(angle), y + radius * 0.9 * math.sin(angle))
        draw.line([(x, y), tip], fill=mixed(metal, (255, 255, 255), 0.2), width=int(radius * 0.16))
    draw.ellipse(
        (x - radius * 0.2, y - radius * 0.2, x + radius * 0.2, y + radius * 0.2), fill=metal
    )
    draw.ellipse(
        (x - radius * 0.07, y - radius * 0.07, x + radius * 0.07, y + radius * 0.07),
        fill=(30, 28, 26),
    )
    return image


def disc(size: tuple[int, int], rng: Random) -> Image.Image:
    """A record half out of its sleeve."""
    width, height = size
    side = int(min(width * 0.74, height))
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    radius = side * 0.48
    x, y = width - radius - 4, height / 2
    draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=(24, 24, 26))
    for ring in range(14):
        reach = radius * (0.42 + 0.04 * ring)
        draw.ellipse((x - reach, y - reach, x + reach, y + reach), outline=(48, 48, 52), width=3)
    label = rng.choice(((178, 60, 48), (44, 92, 120), (206, 170, 80)))
    draw.ellipse(
        (x - radius * 0.34, y - radius * 0.34, x + radius * 0.34, y + radius * 0.34), fill=label
    )
    sleeve = composition((side, side), rng, portrait=False).convert("RGBA")
    image.alpha_composite(sleeve, (0, (height - side) // 2))
    draw.rectangle(
        (0, (height - side) // 2, side, (height + side) // 2), outline=(70, 62, 56), width=4
    )
    return image


def bird(size: tuple[int, int], rng: Random) -> Image.Image:
    """A mounted wading bird under a glass dome."""
    width, height = size
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    floor = height * 0.88
    draw.ellipse((width * 0.02, floor - height * 0.04, width * 0.98, height - 2), fill=(58, 38, 28))
    draw.ellipse(
        (width * 0.1, floor - height * 0.04, width * 0.9, floor + height * 0.06),
        fill=(116, 110, 74),
    )
    feather = rng.choice(((128, 140, 152), (150, 128, 104), (90, 100, 110)))
    dark = mixed(feather, (0, 0, 0), 0.4)
    for x in (0.47, 0.56):
        draw.line(
            [(width * x, height * 0.6), (width * (x - 0.01), floor)], fill=(120, 96, 60), width=9
        )
    draw.ellipse((width * 0.3, height * 0.4, width * 0.78, height * 0.66), fill=feather)
    draw.polygon(
        [(width * 0.66, height * 0.5), (width * 0.88, height * 0.68), (width * 0.6, height * 0.64)],
        fill=dark,
    )
    draw.line(
        [
            (width * 0.4, height * 0.46),
            (width * 0.34, height * 0.34),
            (width * 0.42, height * 0.24),
        ],
        fill=feather,
        width=max(16, width // 15),
        joint="curve",
    )
    draw.ellipse((width * 0.36, height * 0.17, width * 0.52, height * 0.27), fill=feather)
    draw.polygon(
        [
            (width * 0.38, height * 0.2),
            (width * 0.38, height * 0.24),
            (width * 0.18, height * 0.25),
        ],
        fill=(206, 166, 70),
    )
    draw.ellipse((width * 0.42, height * 0.2, width * 0.45, height * 0.225), fill=(20, 20, 20))
    for row in range(4):
        y = height * (0.46 + 0.04 * row)
        draw.arc((width * 0.4, y, width * 0.78, y + height * 0.1), 200, 330, fill=dark, width=5)
    dome = Image.new("RGBA", size, (0, 0, 0, 0))
    glass = ImageDraw.Draw(dome)
    cover = (width * 0.06, 4, width * 0.94, height * 0.98)
    glass.rounded_rectangle(
        cover, radius=width * 0.42, fill=(220, 236, 236, 34), outline=(226, 240, 240, 170), width=7
    )
    glass.arc(
        (width * 0.14, height * 0.05, width * 0.6, height * 0.7),
        170,
        250,
        fill=(255, 255, 255, 150),
        width=16,
    )
    image.alpha_composite(dome)
    return image


def lantern(size: tuple[int, int], rng: Random) -> Image.Image:
    """An iron lantern with panes."""
    width, height = size
    iron = rng.choice(((52, 52, 56), (70, 60, 54)))
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    draw.arc((width * 0.36, 6, width * 0.64, height * 0.2), 0, 360, fill=iron, width=18)
    draw.polygon(
        [
            (width * 0.5, height * 0.12),
            (width * 0.92, height * 0.34),
            (width * 0.08, height * 0.34),
        ],
        fill=iron,
    )
    draw.rectangle(
        (width * 0.14, height * 0.34, width * 0.86, height * 0.9), fill=(214, 206, 170, 150)
    )
    draw.rectangle((width * 0.44, height * 0.6, width * 0.56, height * 0.88), fill=(236, 228, 204))
    for x in (0.14, 0.38, 0.62, 0.86):
        draw.line([(width * x, height * 0.34), (width * x, height * 0.92)], fill=iron, width=20)
        draw.line(
            [(width * x - 5, height * 0.34), (width * x - 5, height * 0.92)],
            fill=mixed(iron, (255, 255, 255), 0.25),
            width=4,
        )
    for y in (0.35, 0.62, 0.9):
        draw.line([(width * 0.1, height * y), (width * 0.9, height * y)], fill=iron, width=20)
    draw.rounded_rectangle(
        (width * 0.05, height * 0.9, width * 0.95, height - 3), radius=14, fill=iron
    )
    return image


def cased(size: tuple[int, int], material: Material, rng: Random) -> Image.Image:
    """A small photograph in a hinged case, open."""
    width, height = size
    image = Image.new("RGBA", size, (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    half = width // 2
    leather = rng.choice(((66, 38, 28), (44, 34, 36)))
    for left in (0, half + 6):
        draw.rounded_rectangle((left, 0, left + half - 7, height - 1), radius=20, fill=leather)
    velvet = rng.choice(((122, 34, 44), (90, 36, 72), (38, 78, 62)))
    draw.rounded_rectangle((24, 24, half - 32, height - 26), radius=14, fill=velvet)
    draw.arc(
        (half * 0.3, height * 0.3, half * 0.65, height * 0.7),
        0,
        360,
        fill=mixed(velvet, (0, 0, 0), 0.3),
        width=8,
    )
    plate = (half - 62, height - 50)
    picture = artwork(Look.CASED_PHOTOGRAPH, material, plate, rng, portrait=True).convert("RGBA")
    brass = Image.new("RGBA", plate, (196, 158, 84, 255))
    oval = Image.new("L", plate, 0)
    ImageDraw.Draw(oval).ellipse((36, 30, plate[0] - 36, plate[1] - 30), fill=255)
    image.paste(Image.composite(picture, brass, oval), (half + 30, 24))
    return image


def plate_glass(size: tuple[int, int], material: Material, rng: Random) -> Image.Image:
    """A photograph on glass: a negative, or dark and pale on black."""
    picture = artwork(Look.GLASS_PLATE, material, size, rng, portrait=rng.random() < 0.4).convert(
        "RGBA"
    )
    draw = ImageDraw.Draw(picture)
    width, height = size
    draw.rectangle((0, 0, width - 1, height - 1), outline=(176, 206, 198, 255), width=14)
    picture.putalpha(236)
    return picture


def negatives(size: tuple[int, int], rng: Random) -> Image.Image:
    """Strips of film in a sleeve."""
    width, height = size
    image = Image.new("RGBA", size, (226, 228, 224, 210))
    draw = ImageDraw.Draw(image)
    rows = 5
    tall = height / rows
    orange = rng.random() < 0.5
    for row in range(rows):
        top = row * tall + tall * 0.1
        draw.rectangle(
            (14, top, width - 14, top + tall * 0.8), fill=(110, 62, 34) if orange else (40, 40, 44)
        )
        frames = 5
        for number in range(frames):
            wide = (width - 28) / frames
            frame = (int(wide * 0.88), int(tall * 0.52))
            shot = composition(frame, rng, portrait=rng.random() < 0.3).convert("L")
            inverted = Image.eval(shot, lambda value: 255 - value).filter(
                ImageFilter.GaussianBlur(2)
            )
            tone = Image.merge(
                "RGB",
                [
                    inverted.point(lambda v, s=share: int(v * s))
                    for share in ((0.9, 0.55, 0.32) if orange else (0.7, 0.7, 0.72))
                ],
            )
            image.paste(tone, (int(14 + wide * (number + 0.06)), int(top + tall * 0.14)))
        for hole in range(int((width - 40) / 26)):
            for y in (top + tall * 0.03, top + tall * 0.71):
                x = 20 + hole * 26
                draw.rectangle((x, y, x + 13, y + tall * 0.06), fill=(226, 228, 224))
    return image


def shards(size: tuple[int, int], colour: Colour, rng: Random) -> Image.Image:
    """Loose fragments laid out on a sheet in a clear bag."""
    image = Image.new("RGBA", size, (236, 240, 240, 120))
    draw = ImageDraw.Draw(image)
    width, height = size
    draw.rectangle((0, 0, width - 1, height - 1), outline=(250, 252, 252, 220), width=10)
    draw.rectangle((0, 0, width - 1, int(height * 0.07)), fill=(84, 126, 176, 210))
    for _ in range(rng.randint(7, 13)):
        x, y = width * rng.uniform(0.15, 0.85), height * rng.uniform(0.22, 0.85)
        reach = min(size) * rng.uniform(0.05, 0.13)
        turns = sorted(rng.uniform(0, math.tau) for _ in range(rng.randint(4, 6)))
        outline = [
            (
                x + reach * rng.uniform(0.6, 1.1) * math.cos(t),
                y + reach * rng.uniform(0.6, 1.1) * math.sin(t),
            )
            for t in turns
        ]
        draw.polygon([(px + 5, py + 6) for px, py in outline], fill=(60, 60, 60, 120))
        draw.polygon(outline, fill=(*mixed(colour, (255, 255, 255), rng.uniform(0, 0.25)), 255))
    return image
