"""A fire and a flood in an invented town, as the phones and the office wrote them down.

Sunday 4 May 2031, late: fire at a gallery house. Monday, early: the river comes into a reading
room and a boathouse. Monday and Tuesday morning four phones tag what is there. The first trucks
are in; the second one from the fire is late; one chamber will be out of use in midweek. The
scenario stops on Tuesday at noon, when the plan is to be made.

Written into it on purpose: a phone whose clock is weeks behind, a phone offline for a day, a
field that two phones filled differently, one such that the lead has settled, a tag tied to two
pieces, a damage withdrawn, an event undone, a tag replaced, a load that does not agree with its
list, and a conservator's override for the odour gas on bare hard goods.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from random import Random
from typing import Final
from zoneinfo import ZoneInfo

from demo_data import NOTICE
from demo_data.devices import Device, Network, PhoneBatch
from demo_data.facility import (
    BROKEN_CHAMBER,
    COLD_STORE,
    FACILITY,
    FUMIGATOR,
    HARD_GOODS,
    INSTRUMENTS,
    PROGRAMMES,
    RECEIVING,
    ZONE,
)
from demo_data.pictures import Subject, draw_photo
from demo_data.pieces import CURRENCY, KINDS, Look, PartPiece, Piece, draw_pieces
from demo_data.sites import (
    FIRE,
    FIRE_ROOMS,
    FLOOD,
    FLOOD_ROOMS,
    Harm,
    RoomOnSite,
    harm,
    part_harm,
    with_fragments,
)
from labels.codes import new_tag
from shared import events as ev
from shared.vocabulary import (
    Agent,
    Damage,
    Extent,
    Hazard,
    Material,
    ObjectType,
    Peril,
    PhotoKind,
    Role,
    ValueBasis,
    WaterCategory,
)

FIRE_PIECES: Final = 182
FLOOD_PIECES: Final = 128

PEOPLE: Final = {
    "conservator": "Quillan Askelby (invented)",
    "lead": "Maelis Corrowby (invented)",
    "office": "Ilva Marrowgate (invented)",
    "heron": "Wenna Dunmarsh (invented)",
    "otter": "Jory Ashkettle (invented)",
    "kestrel": "Tavia Ferrowick (invented)",
    "marten": "Brannoc Hasklund (invented)",
    "driver": "Perrin Vessling (invented)",
}

CLOCK_ERROR: Final = timedelta(days=-37, hours=-3)
"""How far off the clock of one phone is. Nothing may depend on it."""

_ZONE: Final = ZoneInfo(ZONE)


def _local(day: int, hour: int, minute: int = 0) -> datetime:
    """A time on that day of May 2031 at the site, as UTC."""
    return datetime(2031, 5, day, hour, minute, tzinfo=_ZONE).astimezone(UTC)


NOW: Final = _local(6, 12)
"""The moment of planning: Tuesday noon."""

_FIRE_AT: Final = _local(4, 23, 20)
_HOSES_AT: Final = _local(4, 23, 50)
_FLOOD_AT: Final = _local(5, 4, 40)

_COLD_LOOKS: Final = frozenset({Look.BOOK, Look.DOCUMENT})


@dataclass(frozen=True)
class Planned:
    """What was written into the scenario on purpose, for tests and for showing.

    Attributes:
        conflicts: fields in conflict by tag.
        settled: tag and field of a conflict that the lead settled.
        undone: id of the event that its writer took back, and its tag.
        withdrawn: tag and damage that turned out not to be there.
        retagged: first tag and the one that replaced it.
        missing: tag that was on the first truck's list and did not arrive.
        surplus: tag that came with the first truck and is on the second one's list.
    """

    conflicts: dict[str, frozenset[str]]
    settled: tuple[str, str]
    undone: tuple[str, str]
    withdrawn: tuple[str, Damage]
    retagged: tuple[str, str]
    missing: str
    surplus: str


@dataclass(frozen=True)
class Scenario:
    """The whole scenario. Post the office's events and the batches in any order.

    Attributes:
        batches: what the phones sent.
        office_events: what the office, the facility and the licensed person wrote.
        now: the moment of planning.
        losses: the two losses.
        planned: what was written in on purpose.
    """

    seed: int
    now: datetime
    losses: tuple[str, ...]
    batches: list[PhoneBatch]
    office_events: list[ev.Event]
    planned: Planned
    notice: str = NOTICE

    @property
    def events(self) -> list[ev.Event]:
        """Every event, the office's first."""
        return [*self.office_events, *(event for batch in self.batches for event in batch.events)]

    @property
    def photos(self) -> dict[str, bytes]:
        """Every photo by its digest."""
        return {name: data for batch in self.batches for name, data in batch.photos.items()}


@dataclass
class _Tagged:
    """A piece on site with the tags it got."""

    piece: Piece
    tag: str
    loss: str
    room: RoomOnSite
    harms: tuple[Harm, ...]
    found: ev.Spot
    part_tags: list[str] = field(default_factory=list)

    @property
    def all_tags(self) -> list[str]:
        """The tag of the piece and those of its parts."""
        return [self.tag, *self.part_tags]


def build(
    seed: int = 1,
    *,
    pictures: bool = True,
    fire_pieces: int = FIRE_PIECES,
    flood_pieces: int = FLOOD_PIECES,
) -> Scenario:
    """The scenario. The same arguments give the same events, byte for byte.

    Without ``pictures`` no photo is drawn and no photo event written, which is far faster.
    ``ValueError`` when there are fewer pieces at a site than kinds of piece.
    """
    story = _Story(seed, pictures=pictures, fire_pieces=fire_pieces, flood_pieces=flood_pieces)
    return story.told()


class _Story:
    """The scenario while it is being written, in the order in which things happen."""

    def __init__(self, seed: int, *, pictures: bool, fire_pieces: int, flood_pieces: int) -> None:
        self.seed, self.pictures = seed, pictures
        self.fire_pieces, self.flood_pieces = fire_pieces, flood_pieces
        self.rng = Random(seed)
        self.network = Network()
        self.office = self._device("office-desk", "office", Role.OFFICE)
        self.facility = self._device("facility-desk", "lead", Role.LEAD)
        self.conservator = self._device("conservator-desk", "conservator", Role.CONSERVATOR)
        self.fumigator = Device(
            ev.Journal("fumigator-desk", ZONE), FUMIGATOR.name, Role.FUMIGATOR, self.network
        )
        self.heron = self._device("phone-heron", "heron", Role.CREW)
        self.otter = self._device("phone-otter", "otter", Role.CREW)
        self.kestrel = self._device("phone-kestrel", "kestrel", Role.CREW)
        self.kestrel.clock_error = CLOCK_ERROR
        self.marten = self._device("phone-marten", "marten", Role.CREW)

    def _device(self, name: str, person: str, role: Role) -> Device:
        return Device(ev.Journal(name, ZONE), PEOPLE[person], role, self.network)

    def told(self) -> Scenario:
        """Everything, from the first call to Tuesday noon."""
        self._facility_is_described()
        self._calls_come_in()
        for phone in (self.heron, self.otter, self.kestrel, self.marten):
            phone.sync(_local(5, 7))
        fire = self._tag_fire()
        flood = self._tag_flood()
        conflicts, settled = self._disagreements(fire, flood)
        undone, withdrawn, retagged = self._corrections(fire)
        for phone, at in ((self.heron, _local(5, 18)), (self.otter, _local(5, 18, 5)),
                          (self.kestrel, _local(5, 19, 30))):  # fmt: skip
            phone.sync(at)
        offline = [each for each in flood if each.room in FLOOD_ROOMS[4:]]
        known = [*fire, *(each for each in flood if each.room in FLOOD_ROOMS[:4])]
        missing, surplus = self._trucks(known)
        self._values(known, _local(6, 8, 40))
        self._settle(settled)
        self._override(known)
        self._phone_is_back(offline)
        self._late_truck_and_broken_chamber()
        phones = (self.heron, self.otter, self.kestrel, self.marten)
        batches = sorted(
            (batch for phone in phones for batch in phone.sent),
            key=lambda batch: (batch.sent_at, batch.device),
        )
        desks = (self.office, self.facility, self.fumigator, self.conservator)
        written = [event for desk in desks for batch in desk.sent for event in batch.events]
        return Scenario(
            seed=self.seed,
            now=NOW,
            losses=(FIRE, FLOOD),
            batches=batches,
            office_events=sorted(written, key=lambda event: event.order),
            planned=Planned(
                conflicts=conflicts,
                settled=(settled.tag, "maker"),
                undone=undone,
                withdrawn=withdrawn,
                retagged=retagged,
                missing=missing,
                surplus=surplus,
            ),
        )

    # --- before anybody goes out --------------------------------------------------------------

    def _facility_is_described(self) -> None:
        at = _local(1, 9)
        self.facility.write(ev.FacilityDescribed(facility=FACILITY), at)
        for instrument in INSTRUMENTS:
            self.facility.write(instrument, at + timedelta(minutes=5))
        self.facility.sync(at + timedelta(minutes=10))
        self.fumigator.sync(at + timedelta(minutes=20))
        for programme in PROGRAMMES:
            self.fumigator.write(
                ev.ProgrammeSigned(programme=programme), at + timedelta(minutes=30)
            )
        self.fumigator.sync(at + timedelta(minutes=40))

    def _calls_come_in(self) -> None:
        self.office.sync(_local(5, 0, 30))
        at = _local(5, 5, 30)
        self.office.write(
            ev.LossOpened(
                title=f"Fire at Tannery Row ({NOTICE.lower()})",
                site="9 Tannery Row, Port Amaline (invented)",
                zone=ZONE,
                peril=Peril.FIRE,
                happened_at=_FIRE_AT,
                wet_since=_HOSES_AT,
                water_category=WaterCategory.TWO,
                mean_temperature_c="16",
                hazards=(Hazard.BUILDING, Hazard.SOOT, Hazard.ELECTRICITY, Hazard.BROKEN_GLASS),
            ),
            at,
            FIRE,
        )
        self.office.write(
            ev.LossOpened(
                title=f"River flood at Millrace ({NOTICE.lower()})",
                site="Millrace Reading Rooms and Boathouse, Lower Weir (invented)",
                zone=ZONE,
                peril=Peril.FLOOD,
                happened_at=_FLOOD_AT,
                wet_since=_FLOOD_AT,
                water_category=WaterCategory.THREE,
                mean_temperature_c="17",
                hazards=(Hazard.CATEGORY_THREE, Hazard.STANDING_WATER, Hazard.MOULD),
            ),
            at + timedelta(minutes=25),
            FLOOD,
        )
        claims = (
            (FIRE, "C-101", "Harbour Mutual (invented)", "HM-DEMO-2207",
             "Tannery Row Gallery, Odalys Lanthorpe (invented)"),
            (FIRE, "C-102", "Lantern Household Cover (invented)", "LH-DEMO-0815",
             "Ansgar and Linnea Tidemoor (invented)"),
            (FLOOD, "C-201", "Weir County Pool (invented)", "WC-DEMO-3110",
             "Millrace Reading Rooms Trust (invented)"),
            (FLOOD, "C-202", "Harbour Mutual (invented)", "HM-DEMO-1964",
             "Estate of Corwen Sallowfield (invented)"),
        )  # fmt: skip
        for number, (loss, claim, insurer, policy, owner) in enumerate(claims):
            self.office.write(
                ev.ClaimAdded(
                    claim=claim, insurer=insurer, policy=policy, owner=owner, currency=CURRENCY
                ),
                at + timedelta(minutes=40 + 6 * number),
                loss,
            )
        for loss, given_by in ((FIRE, "Odalys Lanthorpe (invented)"),
                               (FLOOD, "Isolt Brackwater, for the trust (invented)")):  # fmt: skip
            self.office.write(
                ev.AuthorisationRecorded(
                    given_by=given_by,
                    covers="Removal, drying and stabilising of all pieces on site.",
                ),
                at + timedelta(minutes=70),
                loss,
            )
        self.office.sync(_local(5, 6, 50))

    # --- on site ------------------------------------------------------------------------------

    def _arrive(self, phone: Device, loss: str, at: datetime, hazards: dict[Hazard, str]) -> None:
        cautions = {
            FIRE: ("site-controller", "building-release", "soot-breath", "fire-peril"),
            FLOOD: ("site-controller", "category-three-suit", "mould-breath", "flood-peril"),
        }
        phone.write(ev.CautionsAcknowledged(person=phone.actor, cautions=cautions[loss]), at, loss)
        for hazard, note in hazards.items():
            phone.write(ev.HazardNoted(hazard=hazard, note=note), at + timedelta(minutes=2), loss)

    def _tag_fire(self) -> list[_Tagged]:
        self._arrive(self.heron, FIRE, _local(5, 8, 30), {Hazard.HEAVY_LIFT: "stone in gallery"})
        self._arrive(
            self.otter, FIRE, _local(5, 8, 32), {Hazard.ASBESTOS: "lagging in the basement"}
        )
        weights = [(kind, kind.fire) for kind in KINDS if kind.fire]
        pieces = draw_pieces(self.rng, self.fire_pieces, weights)
        middle = len(pieces) // 2
        return [
            *self._tag_all(self.heron, FIRE, pieces[:middle], FIRE_ROOMS[:4], _local(5, 8, 45)),
            *self._tag_all(self.otter, FIRE, pieces[middle:], FIRE_ROOMS[4:], _local(5, 8, 47)),
        ]

    def _tag_flood(self) -> list[_Tagged]:
        self._arrive(self.kestrel, FLOOD, _local(5, 10), {Hazard.ELECTRICITY: "fuse box wet"})
        self._arrive(self.marten, FLOOD, _local(5, 10, 3), {Hazard.BROKEN_GLASS: "boathouse"})
        weights = [(kind, kind.flood) for kind in KINDS if kind.flood]
        pieces = draw_pieces(self.rng, self.flood_pieces, weights)
        middle = len(pieces) * 5 // 8
        return [
            *self._tag_all(
                self.kestrel, FLOOD, pieces[:middle], FLOOD_ROOMS[:4], _local(5, 10, 15)
            ),
            *self._tag_all(self.marten, FLOOD, pieces[middle:], FLOOD_ROOMS[4:], _local(5, 10, 20)),
        ]

    def _tag_all(
        self,
        phone: Device,
        loss: str,
        pieces: Sequence[Piece],
        rooms: Sequence[RoomOnSite],
        starts_at: datetime,
    ) -> list[_Tagged]:
        """Go through the rooms one after the other, a few minutes a piece, sending as it goes."""
        tagged = []
        at = starts_at
        for number, piece in enumerate(pieces):
            room = rooms[number * len(rooms) // len(pieces)]
            tagged.append(self._tag_piece(phone, loss, piece, room, at))
            at += timedelta(seconds=self.rng.randint(150, 380))
            if number % 15 == 14 and phone is not self.marten:
                phone.sync(at)
        return tagged

    def _tag_piece(
        self, phone: Device, loss: str, piece: Piece, room: RoomOnSite, at: datetime
    ) -> _Tagged:
        harms = harm(self.rng, piece, room.exposure)
        piece = with_fragments(piece, harms)
        tag = self._new_tag()
        found = ev.Spot(floor=room.floor, room=room.room, wall=self.rng.choice(room.walls))
        phone.write(
            ev.ItemTagged(
                tag=tag,
                object_type=piece.object_type,
                materials=piece.materials,
                found=found,
                claim=room.claim,
                quantity=piece.quantity,
            ),
            at,
            loss,
        )
        shots = self.rng.choices((1, 2, 3), weights=(78, 17, 5))[0]
        self._photograph(phone, loss, tag, _subject(piece, harms), shots=shots, at=at)
        phone.write(
            ev.ItemDescribed(
                tag=tag,
                title=piece.title,
                maker=piece.maker or None,
                period=piece.period,
                subject=piece.subject or None,
                medium=piece.medium,
                inscriptions=piece.inscriptions or None,
                features=piece.features or None,
                description=f"{NOTICE}.",
                size=piece.size,
                significance=piece.significance,
                conservator_only=piece.conservator_only or None,
            ),
            at + timedelta(seconds=70),
            loss,
        )
        self._note_damage(phone, loss, tag, harms, at + timedelta(seconds=90))
        tagged = _Tagged(piece, tag, loss, room, harms, found)
        for part in piece.parts:
            tagged.part_tags.append(self._tag_part(phone, tagged, part, at))
        return tagged

    def _tag_part(self, phone: Device, whole: _Tagged, part: PartPiece, at: datetime) -> str:
        piece, loss = whole.piece, whole.loss
        tag = self._new_tag()
        phone.write(
            ev.ItemTagged(
                tag=tag,
                object_type=part.object_type,
                materials=part.materials,
                found=whole.found,
                parent=whole.tag,
                role=part.role,
            ),
            at + timedelta(seconds=110),
            loss,
        )
        phone.write(
            ev.ItemDescribed(
                tag=tag,
                title=f"{part.role.label} of: {piece.title}",
                medium=part.medium,
                size=part.size,
                description=f"{NOTICE}.",
            ),
            at + timedelta(seconds=115),
            loss,
        )
        shown = part_harm(part, whole.harms)
        self._note_damage(phone, loss, tag, shown, at + timedelta(seconds=120))
        if self.rng.random() < 0.5:
            subject = Subject(
                look=piece.look,
                material=part.materials[0],
                mount=piece.mount,
                quantity=1,
                height_cm=piece.height_cm,
                width_cm=piece.width_cm,
                harms=shown,
                part=part.role,
            )
            self._photograph(phone, whole.loss, tag, subject, at=at + timedelta(seconds=125))
        return tag

    def _note_damage(
        self, phone: Device, loss: str, tag: str, harms: Iterable[Harm], at: datetime
    ) -> None:
        for each in harms:
            phone.write(
                ev.DamageNoted(
                    tag=tag,
                    damage=each.damage,
                    extent=each.extent,
                    water_category=each.water_category,
                    note=each.note,
                ),
                at,
                loss,
            )

    def _photograph(
        self, phone: Device, loss: str, tag: str, subject: Subject, *, at: datetime, shots: int = 1
    ) -> None:
        """``shots`` photos: the whole piece first, then details."""
        seed = self.rng.randrange(2**31)
        for number in range(shots if self.pictures else 0):
            data = draw_photo(subject, seed=seed, close_up=number)
            digest = sha256(data).hexdigest()
            phone.photos[digest] = data
            phone.write(
                ev.PhotoTaken(
                    tag=tag,
                    photo=digest,
                    kind=PhotoKind.DETAIL if number else PhotoKind.SITE,
                    caption=NOTICE,
                ),
                at + timedelta(seconds=20 + 10 * number),
                loss,
            )

    def _new_tag(self) -> str:
        return new_tag(self.rng.choice)

    # --- what goes wrong ----------------------------------------------------------------------

    def _disagreements(
        self, fire: list[_Tagged], flood: list[_Tagged]
    ) -> tuple[dict[str, frozenset[str]], _Tagged]:
        """Fields two phones fill differently, one of them to be settled, and a tag tied twice."""
        at = _local(5, 17, 20)
        marble = next(each for each in fire if each.piece.materials[0] is Material.MARBLE_ALABASTER)
        other = self.otter if marble.room in FIRE_ROOMS[:4] else self.heron
        by_heron = [each for each in fire if each.room in FIRE_ROOMS[:4] and each is not marble]
        paintings_first = sorted(by_heron, key=lambda each: each.piece.look is not Look.PAINTING)
        titled, settled = paintings_first[:2]
        self.otter.write(
            ev.ItemDescribed(tag=titled.tag, title="The View from the Net Lofts"), at, FIRE
        )
        other.write(ev.ItemDescribed(tag=marble.tag, materials=(Material.PLASTER,)), at, FIRE)
        self.heron.write(ev.ItemDescribed(tag=settled.tag, maker="Merrin Askelby"), at, FIRE)
        self.otter.write(ev.ItemDescribed(tag=settled.tag, maker="M. Askelby, copy"), at, FIRE)
        twice = next(each for each in flood if each.room is FLOOD_ROOMS[0])
        self.marten.write(
            ev.ItemTagged(
                tag=twice.tag,
                object_type=ObjectType.DECORATIVE,
                materials=(Material.COPPER_ALLOY,),
                found=ev.Spot(floor="ground floor", room="boathouse studio", wall="bench"),
                claim="C-202",
            ),
            at,
            FLOOD,
        )
        return {
            titled.tag: frozenset({"title"}),
            marble.tag: frozenset({"materials"}),
            twice.tag: frozenset({"tag"}),
        }, settled

    def _corrections(
        self, fire: list[_Tagged]
    ) -> tuple[tuple[str, str], tuple[str, Damage], tuple[str, str]]:
        """An event taken back, a damage that was not there, a torn tag."""
        at = _local(5, 17, 40)
        of_otter = [each for each in fire if each.room in FIRE_ROOMS[4:]]
        wrong, clean, torn = of_otter[5], of_otter[9], of_otter[14]
        noted = self.otter.write(
            ev.DamageNoted(tag=wrong.tag, damage=Damage.MOULD_VISIBLE, extent=Extent.SLIGHT),
            at,
            FIRE,
        )
        self.otter.write(
            ev.EventUndone(
                event=noted.id, subject=f"item:{wrong.tag}", reason="meant for another piece"
            ),
            at + timedelta(minutes=1),
            FIRE,
        )
        self.otter.write(
            ev.DamageNoted(tag=clean.tag, damage=Damage.INSECTS, extent=Extent.SLIGHT), at, FIRE
        )
        self.otter.write(
            ev.DamageWithdrawn(
                tag=clean.tag, damage=Damage.INSECTS, reason="old holes, nothing alive"
            ),
            at + timedelta(minutes=3),
            FIRE,
        )
        replacement = self._new_tag()
        self.otter.write(
            ev.TagReplaced(tag=torn.tag, new_tag=replacement, reason="torn off on the stairs"),
            at + timedelta(minutes=5),
            FIRE,
        )
        return (noted.id, wrong.tag), (clean.tag, Damage.INSECTS), (torn.tag, replacement)

    def _settle(self, settled: _Tagged) -> None:
        """The lead, who saw both makers, keeps one of them."""
        self.facility.sync(_local(6, 8))
        heads = tuple(
            event.id
            for phone in (self.heron, self.otter)
            for batch in phone.sent
            for event in batch.events
            if event.body.get("tag") == settled.tag and event.body.get("maker")
        )
        self.facility.write(
            ev.ItemDescribed(tag=settled.tag, maker="Merrin Askelby", replaces=heads),
            _local(6, 8, 20),
            FIRE,
        )

    def _override(self, known: list[_Tagged]) -> None:
        """The conservator allows the odour gas on bare hard goods, piece by piece."""
        agreed = [
            each.tag
            for each in known
            if HARD_GOODS.issuperset(each.piece.materials)
            and any(one.damage is Damage.SMOKE_ODOUR for one in each.harms)
        ]
        at = _local(6, 9, 45)
        self.conservator.sync(at)
        self.conservator.write(
            ev.OverrideSigned(
                override="OV-2031-1",
                tags=tuple(agreed),
                agent=Agent.OZONE,
                materials=tuple(sorted(HARD_GOODS)),
                reason="bare glass, porcelain and stone: no paint, no gilding, no old mends",
                signed_by=PEOPLE["conservator"],
                expires=date(2031, 6, 30),
            ),
            at,
            FIRE,
        )
        self.conservator.sync(at + timedelta(minutes=5))

    # --- trucks, receipt, value ---------------------------------------------------------------

    def _trucks(self, known: list[_Tagged]) -> tuple[str, str]:
        """Three lists; the first truck of each loss comes in, one piece short and one over."""
        fire = [each for each in known if each.loss == FIRE]
        first_flood = [each for each in known if each.loss == FLOOD]
        wet = [each for each in fire if _is_wet(each)]
        dry = [each for each in fire if not _is_wet(each)]
        cut = len(fire) // 4
        first_fire, second_fire = wet + dry[:cut], dry[cut:]
        self._pack(self.heron, first_fire, "F1", _local(5, 18, 10))
        self._pack(self.kestrel, first_flood, "W1", _local(5, 19, 40))
        for phone in (self.heron, self.kestrel):
            phone.sync(_local(5, 20))
        self.office.sync(_local(5, 20, 5))
        self._load("FIRE-1", first_fire, "Box truck 1", leaves_at=_local(5, 20, 10), minutes=50)
        self._load("FLOOD-1", first_flood, "Box truck 2", leaves_at=_local(5, 20, 30), minutes=70)
        self.office.sync(_local(5, 20, 40))
        self._hand_over(self.heron, "FIRE-1", FIRE, _local(5, 20, 15))
        self._hand_over(self.kestrel, "FLOOD-1", FLOOD, _local(5, 20, 35))
        missing = next(each for each in reversed(first_fire) if not each.part_tags)
        surplus = next(each for each in second_fire if not each.part_tags)
        arrived = [each for each in first_fire if each is not missing]
        self.facility.sync(_local(5, 21))
        self._receive("FIRE-1", [*arrived, surplus], _local(5, 21, 5))
        self._receive("FLOOD-1", first_flood, _local(5, 21, 50))
        self.facility.sync(_local(5, 23, 30))
        self._pack(self.heron, second_fire, "F2", _local(6, 7, 30))
        self.heron.sync(_local(6, 7, 55))
        self.office.sync(_local(6, 7, 58))
        self._load("FIRE-2", second_fire, "Box truck 1", leaves_at=_local(6, 8), minutes=150)
        self.office.sync(_local(6, 8, 5))
        self._hand_over(self.heron, "FIRE-2", FIRE, _local(6, 8, 10))
        return missing.tag, surplus.tag

    def _pack(self, phone: Device, load: list[_Tagged], crate: str, at: datetime) -> None:
        """What may travel in crates goes into crates of twelve; large pieces go loose."""
        small = [each for each in load if max(each.piece.height_cm, each.piece.width_cm) < 60]
        for number, each in enumerate(small):
            for tag in each.all_tags:
                phone.write(
                    ev.ItemPacked(tag=tag, container=f"CRATE-{crate}-{number // 12 + 1:02}"),
                    at + timedelta(seconds=15 * number),
                    each.loss,
                )

    def _load(
        self,
        manifest: str,
        load: list[_Tagged],
        vehicle: str,
        *,
        leaves_at: datetime,
        minutes: int,
    ) -> None:
        """Close the list of a truck that takes ``minutes`` to the facility."""
        self.office.write(
            ev.ManifestClosed(
                manifest=manifest,
                vehicle=f"{vehicle} (invented)",
                tags=tuple(tag for each in load for tag in each.all_tags),
                leaves_at=leaves_at,
                expected_at=leaves_at + timedelta(minutes=minutes),
            ),
            leaves_at,
            load[0].loss,
        )

    def _hand_over(self, phone: Device, manifest: str, loss: str, at: datetime) -> None:
        phone.sync(at)
        phone.write(
            ev.HandedOver(manifest=manifest, given_by=phone.actor, taken_by=PEOPLE["driver"]),
            at,
            loss,
        )
        phone.sync(at + timedelta(minutes=1))

    def _receive(self, manifest: str, load: list[_Tagged], at: datetime) -> None:
        """Scan in, weigh some of the wet pieces, put wet books and papers into the cold store."""
        for each in load:
            for tag in each.all_tags:
                self.facility.write(
                    ev.ItemReceived(
                        tag=tag,
                        manifest=manifest,
                        station=RECEIVING,
                        condition="as noted on site",
                    ),
                    at,
                    each.loss,
                )
            if _is_wet(each) and self.rng.random() < 0.25:
                kilograms = 0.4 + each.piece.height_cm * each.piece.width_cm / 900
                mass = ev.Mass(value=f"{kilograms:.2f}", unit="kg")
                self.facility.write(ev.Weighed(tag=each.tag, mass=mass, taken_at=at), at, each.loss)
            if each.piece.look in _COLD_LOOKS and _is_soaked(each) and not _has_parchment(each):
                self.facility.write(ev.ItemMoved(tag=each.tag, station=COLD_STORE), at, each.loss)
            at += timedelta(seconds=20)

    def _values(self, tagged: list[_Tagged], at: datetime) -> None:
        """The office enters what the schedules, appraisals and owners say."""
        self.office.sync(at)
        words = {
            ValueBasis.AGREED: "policy, agreed value (invented)",
            ValueBasis.SCHEDULED: "schedule to the policy (invented)",
            ValueBasis.APPRAISED: "appraisal of 2029 (invented)",
            ValueBasis.DECLARED: "the owner (invented)",
        }
        for each in tagged:
            valued = each.piece.valued
            if valued is None:
                continue
            burnt = any(one.damage in {Damage.CHARRED, Damage.BROKEN} for one in each.harms)
            lost = f"{valued.value.decimal * self.rng.randint(2, 7) / 10:.2f}"
            self.office.write(
                ev.ValueStated(
                    tag=each.tag,
                    basis=valued.basis,
                    value=valued.value,
                    stated_by=words[valued.basis],
                    loss_in_value=ev.Money(amount=lost, currency=CURRENCY) if burnt else None,
                ),
                at,
                each.loss,
            )
            at += timedelta(seconds=20)
        self.office.sync(at)

    def _phone_is_back(self, offline: list[_Tagged]) -> None:
        """The phone that was offline for a day sends; its pieces get values and a truck."""
        self._pack(self.marten, offline, "W2", _local(6, 9, 30))
        self.marten.sync(_local(6, 10, 30))
        self._values(offline, _local(6, 10, 35))
        self._load("FLOOD-2", offline, "Box truck 2", leaves_at=_local(6, 11), minutes=200)
        self.office.sync(_local(6, 11, 2))
        self._hand_over(self.marten, "FLOOD-2", FLOOD, _local(6, 11, 5))

    def _late_truck_and_broken_chamber(self) -> None:
        self.office.write(
            ev.ManifestDelayed(
                manifest="FIRE-2",
                expected_at=_local(6, 19, 30),
                reason="the causeway is under water, the truck waits for the ebb",
            ),
            _local(6, 11, 10),
            FIRE,
        )
        self.office.sync(_local(6, 11, 15))
        self.facility.sync(_local(6, 11, 30))
        self.facility.write(
            ev.StationClosed(
                station=BROKEN_CHAMBER,
                starts_at=_local(7, 6),
                ends_at=_local(9, 18),
                reason="fan bearing runs hot; the part comes on Friday",
            ),
            _local(6, 11, 40),
        )
        self.facility.sync(_local(6, 11, 45))


def _subject(piece: Piece, harms: tuple[Harm, ...]) -> Subject:
    return Subject(
        look=piece.look,
        material=piece.materials[0],
        mount=piece.mount,
        quantity=piece.quantity,
        height_cm=piece.height_cm,
        width_cm=piece.width_cm,
        harms=harms,
        portrait=piece.title.startswith("Portrait"),
    )


def _is_wet(tagged: _Tagged) -> bool:
    return any(each.damage in {Damage.SOAKED, Damage.DAMP} for each in tagged.harms)


def _is_soaked(tagged: _Tagged) -> bool:
    return any(each.damage is Damage.SOAKED for each in tagged.harms)


def _has_parchment(tagged: _Tagged) -> bool:
    return not {Material.PARCHMENT, Material.LEATHER_BINDING}.isdisjoint(tagged.piece.materials)
