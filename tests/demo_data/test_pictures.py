"""Photos are valid, small, deterministic, and differ by piece and by damage."""

import io

import pytest
from PIL import Image, ImageChops, ImageStat

from demo_data.pictures import MAX_BYTES, Subject, draw_photo
from demo_data.pictures.surface import SIZE
from demo_data.pieces import KINDS, Kind
from demo_data.scenario import Scenario
from demo_data.sites import Harm
from shared.vocabulary import Damage, Extent, PartRole

UNSEEN = {
    Damage.HIGH_HUMIDITY,
    Damage.SALT_WATER,
    Damage.MOULD_SUSPECTED,
    Damage.SOOT_PROTEIN,
    Damage.SOOT_OIL,
    Damage.SMOKE_ODOUR,
    Damage.INSECTS,
    Damage.NONE_SEEN,
}
"""What is not painted: it can't be seen in a photo, or the scenario has none of it."""


def subject(kind: Kind, *harms: Harm, part: PartRole | None = None) -> Subject:
    return Subject(
        look=kind.look,
        material=kind.materials[0],
        mount=kind.mounts[-1],
        quantity=max(kind.sets),
        height_cm=kind.height_cm[0],
        width_cm=kind.width_cm[0],
        harms=harms,
        part=part,
    )


def opened(data: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(data))
    image.load()
    return image


def check(data: bytes) -> None:
    image = opened(data)
    assert image.format == "JPEG"
    assert image.size == SIZE == (1000, 750)
    assert len(data) <= MAX_BYTES
    assert ImageStat.Stat(image.convert("L")).stddev[0] > 8


def test_every_photo_of_a_scenario(pictured: Scenario) -> None:
    assert len(pictured.photos) >= 116
    for data in pictured.photos.values():
        assert len(data) <= MAX_BYTES
        with Image.open(io.BytesIO(data)) as image:
            assert (image.format, image.size) == ("JPEG", SIZE)


@pytest.mark.parametrize("kind", KINDS[::4], ids=lambda kind: f"{kind.look}-{kind.materials[0]}")
def test_a_kind_can_be_drawn_and_comes_out_the_same_twice(kind: Kind) -> None:
    harms = (Harm(Damage.SOAKED, Extent.WIDE), Harm(Damage.SOOT_DRY, Extent.SLIGHT))
    first = draw_photo(subject(kind, *harms), seed=3)
    check(first)
    assert draw_photo(subject(kind, *harms), seed=3) == first
    assert draw_photo(subject(kind, *harms), seed=4) != first


@pytest.mark.parametrize("damage", sorted(set(Damage) - UNSEEN))
def test_each_visible_damage_shows(damage: Damage) -> None:
    whole = opened(draw_photo(subject(KINDS[0]), seed=11))
    hurt = opened(draw_photo(subject(KINDS[0], Harm(damage, Extent.WIDE)), seed=11))
    middle = (300, 120, 700, 520)
    difference = ImageChops.difference(whole.crop(middle), hurt.crop(middle)).convert("L")
    assert ImageStat.Stat(difference).mean[0] > 1.0


@pytest.mark.parametrize(
    "role", [PartRole.FRAME, PartRole.GLAZING, PartRole.BASE, PartRole.FRAGMENTS]
)
def test_parts_can_be_drawn(role: PartRole) -> None:
    check(draw_photo(subject(KINDS[0], part=role), seed=5))


def test_close_ups_show_something_else() -> None:
    piece = subject(KINDS[0])
    shots = [draw_photo(piece, seed=8, close_up=number) for number in range(3)]
    assert len(set(shots)) == 3
    for shot in shots:
        check(shot)
