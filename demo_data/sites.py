"""The two invented sites, their rooms, and what the fire and the flood did in each room."""

from dataclasses import dataclass, replace
from enum import StrEnum, auto
from random import Random
from typing import Final

from demo_data.pieces import PartPiece, Piece
from shared.vocabulary import Damage, Extent, Material, PartRole, WaterCategory


class Exposure(StrEnum):
    """What a room went through."""

    FLAMES = auto()
    DRY_SOOT = auto()
    WET_SOOT = auto()
    POWDER = auto()
    HOSE_CLEAN = auto()
    HOSE_DIRTY = auto()
    SUBMERGED = auto()
    SPLASHED = auto()
    HUMID = auto()
    MOULDY_CELLAR = auto()


@dataclass(frozen=True)
class RoomOnSite:
    """One room of a site and the walls a piece can hang on."""

    floor: str
    room: str
    exposure: Exposure
    claim: str
    walls: tuple[str, ...] = ("north wall", "east wall", "south wall", "west wall")


@dataclass(frozen=True)
class Harm:
    """One kind of damage as a crew notes it."""

    damage: Damage
    extent: Extent
    water_category: WaterCategory | None = None
    note: str = ""


FIRE: Final = "FIRE-2031-05"
FLOOD: Final = "FLOOD-2031-05"

FIRE_ROOMS: Final = (
    RoomOnSite("ground floor", "front gallery", Exposure.DRY_SOOT, "C-101"),
    RoomOnSite("ground floor", "back gallery", Exposure.POWDER, "C-101"),
    RoomOnSite("ground floor", "workroom", Exposure.FLAMES, "C-101"),
    RoomOnSite("basement", "picture store", Exposure.HOSE_DIRTY, "C-101", ("rack 1", "rack 2")),
    RoomOnSite("first floor", "drawing room", Exposure.HOSE_CLEAN, "C-102"),
    RoomOnSite("first floor", "kitchen passage", Exposure.WET_SOOT, "C-102"),
    RoomOnSite("second floor", "library", Exposure.DRY_SOOT, "C-102"),
    RoomOnSite("second floor", "bedroom", Exposure.WET_SOOT, "C-102"),
)

FLOOD_ROOMS: Final = (
    RoomOnSite("lower floor", "reading room", Exposure.SUBMERGED, "C-201"),
    RoomOnSite("lower floor", "archive", Exposure.SUBMERGED, "C-201", ("shelf A", "shelf B")),
    RoomOnSite("cellar", "stack", Exposure.MOULDY_CELLAR, "C-201", ("shelf 1", "shelf 2")),
    RoomOnSite("upper floor", "exhibition room", Exposure.HUMID, "C-201"),
    RoomOnSite("ground floor", "boathouse studio", Exposure.SUBMERGED, "C-202"),
    RoomOnSite("ground floor", "hall", Exposure.SPLASHED, "C-202"),
)

_PAINTINGS: Final = {
    Material.OIL_CANVAS,
    Material.OIL_CANVAS_GLUE_LINED,
    Material.OIL_CANVAS_WAX_LINED,
    Material.PANEL_PAINTING,
    Material.GILDED_GESSO,
}
_CRUMPLES: Final = {
    Material.WOOD,
    Material.VENEER,
    Material.PRINT_PAPER,
    Material.BOUND_VOLUME,
    Material.LEATHER_BINDING,
    Material.PARCHMENT,
    Material.BASKETRY,
}
_RUNS: Final = {Material.WATERCOLOUR, Material.TEXTILE_BLEEDING, Material.INKJET_DYE}
_CORRODES: Final = {Material.IRON, Material.CLOCK_ELECTRONICS, Material.COPPER_ALLOY}
_STICKS: Final = {Material.SILVER_GELATIN, Material.CHROMOGENIC, Material.INKJET_PIGMENT}
_FEEDS_MOULD: Final = _PAINTINGS | _CRUMPLES | {
    Material.LEATHER,
    Material.UPHOLSTERY,
    Material.TEXTILE,
    Material.ALBUMEN,
    Material.SILVER_GELATIN,
}  # fmt: skip

_SOOTY: Final = {
    Exposure.FLAMES: Damage.SOOT_DRY,
    Exposure.DRY_SOOT: Damage.SOOT_DRY,
    Exposure.POWDER: Damage.SOOT_DRY,
    Exposure.WET_SOOT: Damage.SOOT_WET,
    Exposure.HOSE_CLEAN: Damage.SOOT_DRY,
    Exposure.HOSE_DIRTY: Damage.SOOT_WET,
}
_WATER: Final = {
    Exposure.HOSE_CLEAN: WaterCategory.ONE,
    Exposure.HOSE_DIRTY: WaterCategory.TWO,
    Exposure.SUBMERGED: WaterCategory.THREE,
    Exposure.SPLASHED: WaterCategory.THREE,
}


def harm(rng: Random, piece: Piece, exposure: Exposure) -> tuple[Harm, ...]:
    """What happened to ``piece`` in a room with this exposure, each kind of damage once."""
    found: list[Harm] = []
    soot = _SOOTY.get(exposure)
    if soot is not None:
        found.append(Harm(soot, _extent(rng)))
        found.append(Harm(Damage.SMOKE_ODOUR, Extent.WIDE))
    if exposure is Exposure.FLAMES:
        found.append(Harm(Damage.HEAT, _extent(rng)))
        if rng.random() < 0.5:
            found.append(Harm(Damage.CHARRED, Extent.SLIGHT, note="one edge"))
    if exposure is Exposure.POWDER:
        found.append(Harm(Damage.EXTINGUISHER_POWDER, _extent(rng)))
    water = _WATER.get(exposure)
    if water is not None:
        found += _wetted(rng, piece, exposure, water)
    if exposure is Exposure.HUMID:
        found.append(Harm(Damage.HIGH_HUMIDITY, Extent.WIDE))
    if exposure is Exposure.MOULDY_CELLAR:
        found += _mouldy(rng, piece)
    if piece.fragile and rng.random() < 0.22:
        glazed = piece.mount.glazed
        damage = Damage.BROKEN_GLAZING if glazed else Damage.BROKEN
        found.append(Harm(damage, Extent.PARTIAL, note="" if glazed else "pieces bagged"))
    return tuple({each.damage: each for each in found}.values())


def _wetted(rng: Random, piece: Piece, exposure: Exposure, water: WaterCategory) -> list[Harm]:
    materials = set(piece.materials)
    soaked = exposure is Exposure.SUBMERGED or rng.random() < 0.55
    found = [Harm(Damage.SOAKED if soaked else Damage.DAMP, _extent(rng), water)]
    if exposure is Exposure.SUBMERGED or (exposure is Exposure.SPLASHED and rng.random() < 0.5):
        found.append(Harm(Damage.MUD, _extent(rng), water))
    if soaked and materials & _PAINTINGS and rng.random() < 0.35:
        found.append(Harm(Damage.FLAKING, Extent.SLIGHT, note="lifting at the lower edge"))
    if soaked and materials & _CRUMPLES and rng.random() < 0.4:
        found.append(Harm(Damage.WARPED, _extent(rng)))
    if soaked and materials & _RUNS and rng.random() < 0.6:
        found.append(Harm(Damage.DYE_BLEED, _extent(rng)))
    if materials & _CORRODES and rng.random() < 0.5:
        found.append(Harm(Damage.CORROSION, Extent.SLIGHT))
    if soaked and piece.mount.glazed and materials & _STICKS and rng.random() < 0.5:
        found.append(Harm(Damage.STUCK_TO_GLAZING, Extent.PARTIAL, note="left as it is"))
    return found


def _mouldy(rng: Random, piece: Piece) -> list[Harm]:
    found = [Harm(Damage.DAMP, Extent.WIDE, WaterCategory.THREE)]
    if set(piece.materials) & _FEEDS_MOULD or rng.random() < 0.4:
        found.append(Harm(Damage.MOULD_VISIBLE, _extent(rng), note="was damp before the flood"))
    else:
        found.append(Harm(Damage.MOULD_SUSPECTED, Extent.SLIGHT, note="musty smell"))
    return found


def _extent(rng: Random) -> Extent:
    return rng.choices(tuple(Extent), weights=(25, 45, 30))[0]


def with_fragments(piece: Piece, harms: tuple[Harm, ...]) -> Piece:
    """``piece``, its loose pieces bagged as a part of their own when it is broken."""
    if all(each.damage is not Damage.BROKEN for each in harms):
        return piece
    bag = PartPiece(PartRole.FRAGMENTS, piece.object_type, piece.materials, piece.medium, None)
    return replace(piece, parts=(*piece.parts, bag))


def part_harm(part: PartPiece, harms: tuple[Harm, ...]) -> tuple[Harm, ...]:
    """What of the damage to a piece shows on its part."""
    if part.role is PartRole.GLAZING:
        keep = {Damage.SOOT_DRY, Damage.SOOT_WET, Damage.MUD, Damage.EXTINGUISHER_POWDER}
    else:
        keep = set(Damage) - {Damage.DYE_BLEED, Damage.STUCK_TO_GLAZING, Damage.BROKEN_GLAZING}
        if part.role is not PartRole.FRAGMENTS:
            keep.discard(Damage.BROKEN)
    shown = tuple(each for each in harms if each.damage in keep)
    return shown or (Harm(Damage.NONE_SEEN, Extent.SLIGHT),)
