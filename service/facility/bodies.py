"""A wet piece as the slab that the drying model reckons with, from the table of drying bodies."""

from dataclasses import dataclass

from service.facility.loading import sides_m
from shared.drying import (
    GAB_DEFAULTS,
    DryingAir,
    DryingPiece,
    SorbingMaterial,
    estimate_drying,
    wood_emc,
)
from shared.facility import Room
from shared.facts import DryingBodyRow, Facts
from shared.records import Item
from shared.vocabulary import Damage

UNMEASURED_FACE_M2 = 0.25
"""Largest face taken for a piece that nobody measured; ours, common practice, no source."""
LEAST_DEPTH_M = 0.004
"""Shallowest volume reckoned with, so that a mistyped size cannot make it dry at once; ours."""


def face_m2(piece: Item, known: Facts) -> float:
    """The largest face of a piece, m²."""
    sides = sides_m(piece, known)
    if sides is None:
        return UNMEASURED_FACE_M2
    _, middle, large = sorted(sides)
    return middle * large


def is_soaked(piece: Item) -> bool:
    """Whether anything worse than damp befell it."""
    return any(seen.damage is not Damage.DAMP for seen in piece.damages)


def equilibrium(body: DryingBodyRow, room: Room) -> float:
    """Moisture content at the room's set point, kg/kg dry."""
    if body.equilibrium == "wood":
        return float(wood_emc(room.temperature_c, room.rh))
    if body.equilibrium == "none":
        return 0.005
    return float(GAB_DEFAULTS[SorbingMaterial(body.equilibrium)].moisture(room.rh))


def air_in(room: Room) -> DryingAir:
    """The air that the room is kept at."""
    return DryingAir(t_c=room.temperature_c, rh=room.rh, air_speed_m_s=room.air_speed_m_s)


@dataclass(frozen=True)
class WetBody:
    """The slowest of a piece's materials as a slab, and what the table supposes it to hold.

    water_kg: water at the start. emc: moisture content at equilibrium, kg/kg dry.
    """

    row: DryingBodyRow
    slab: DryingPiece
    water_kg: float
    emc: float


def slabs_in(row: DryingBodyRow, piece: Item, known: Facts) -> float:
    """How many of the table's slabs lie on each other in the piece; less than 1: a thinner one."""
    if row.opened_into is None:
        return 1.0
    sides = sides_m(piece, known)
    if sides is None or piece.size is None or piece.size.depth is None:
        return float(row.opened_into)
    return max(min(sides), LEAST_DEPTH_M) / row.thickness_m


def slab_of(row: DryingBodyRow, area_m2: float, slabs: float = 1.0) -> DryingPiece:
    """So many slabs of the table, each with ``area_m2`` of largest face, drying side by side."""
    return DryingPiece(
        dry_mass_kg=row.dry_kg_m2 * area_m2 * slabs,
        open_area_m2=row.open_faces * area_m2 * max(1.0, slabs),
        thickness_m=row.thickness_m * min(1.0, slabs),
        open_faces=row.open_faces,
        fibre_saturation=row.fibre_saturation,
        diffusivity_m2_s=row.diffusivity_m2_s,
        max_rh_step=row.max_rh_step,
    )


def water_in(row: DryingBodyRow, emc: float, *, soaked: bool) -> float:
    """All the water in 1 m² of one slab at the start, kg: taken up, and there anyway."""
    return emc * row.dry_kg_m2 + (row.soaked_kg_m2 if soaked else row.damp_kg_m2)


def wet_body(piece: Item, room: Room, known: Facts) -> WetBody | None:
    """The piece as a slab in ``room``; ``None`` when nobody has said what it is made of."""
    area = max(face_m2(piece, known), 0.02) * piece.quantity
    bodies = []
    for body in sorted({known.ratings[material].drying_body for material in piece.materials}):
        row = known.drying_bodies[body]
        slab = slab_of(row, area, slabs := slabs_in(row, piece, known))
        emc = equilibrium(row, room)
        water = water_in(row, emc, soaked=is_soaked(piece)) * area * slabs
        bodies.append(WetBody(row, slab, water, emc))

    def likely_h(body: WetBody) -> float:
        time = estimate_drying(body.slab, air_in(room), body.water_kg, body.emc)
        return time.likely.total_h

    return max(bodies, key=likely_h, default=None)
