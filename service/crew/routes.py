"""The crew's page and what the phone asks while it has a network."""

from base64 import b64encode
from datetime import datetime
from hashlib import sha256
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Path, Request
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from service.assessing import triage_of
from service.crew.phones import EnrolmentError, enrol
from service.log import reading
from service.log.routes import Here
from service.pages import BUILT, page
from shared import vocabulary
from shared.cautions import cautions_for, standing_cautions
from shared.events import PhoneKey
from shared.facts import facts_as_json
from shared.records import Handover, Item, Loss
from shared.triage import Triage
from shared.vocabulary import Labelled

router = APIRouter(tags=["crew"])

TagPath = Annotated[str, Path(pattern="^[0-9A-HJKMNP-TV-Z]{13}$", description="A tag.")]
RefPath = Annotated[str, Path(pattern="^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]


class Enrolment(BaseModel):
    """What a phone sends to be enrolled: the office's code, and the public half of its key."""

    code: Annotated[str, Field(min_length=1, max_length=64)]
    key: PhoneKey


class Device(BaseModel):
    """The device that a phone writes as, what people call it, and the clock to start from."""

    device: str
    name: str
    clock: int


class DeviceStanding(BaseModel):
    """Whether a phone may still write and, if not, since when and why."""

    device: str
    name: str
    revoked_at: str | None
    revoked_because: str


class LossLine(BaseModel):
    """A loss in the list a phone chooses from."""

    loss: str
    title: str
    site: str
    peril: vocabulary.Peril
    hazards: list[vocabulary.Hazard]
    authorised: bool


class CautionShown(BaseModel):
    """A caution to read before entry."""

    id: str
    trigger: str
    text: str


class LossBriefing(BaseModel):
    """What a crew member reads before entry."""

    loss: Loss
    cautions: list[CautionShown]
    standing: list[str]


class ItemAnswer(BaseModel):
    """A piece and what must happen to it first."""

    item: Item
    parts: list[Item]
    triage: Triage
    band_label: str


class LoadOnTheRoad(BaseModel):
    """A manifest, who handed it over, and what of it has come."""

    manifest: str
    vehicle: str
    leaves_at: datetime | None
    expected_at: datetime | None
    delays: list[str]
    tags: list[str]
    received: list[str]
    handovers: list[Handover]


class PieceOnTheRoad(BaseModel):
    """What a listed or received piece is, in few words."""

    tag: str
    object_type: vocabulary.ObjectType
    title: str


class StationChoice(BaseModel):
    """A place of the facility where an arriving piece can be put."""

    id: str
    label: str
    kind: str


class ManifestsAnswer(BaseModel):
    """What a phone needs to receive the loads of one loss, also once its network is gone."""

    manifests: list[LoadOnTheRoad]
    pieces: list[PieceOnTheRoad]
    first_tags: dict[str, str] = Field(
        description="Tags that replaced one listed or received, each with the piece's first tag."
    )
    stations: list[StationChoice]


class Word(BaseModel):
    """One entry of a vocabulary."""

    id: str
    label: str


@router.get("/crew/", include_in_schema=False)
def crew_page(request: Request) -> HTMLResponse:
    """The crew's page: one program that the phone runs."""
    return page(request, "crew.html", {})


@router.get("/crew/worker.js", include_in_schema=False)
def crew_worker(request: Request) -> Response:
    """The service worker, with the digest of the page as it is drawn now.

    The page is part of what a phone keeps, and it changes with the facility's own facts: a worker
    that names its digest is then a new version, and none keeps another page in its place.
    """
    drawn = b64encode(sha256(crew_page(request).body).digest()).decode()
    script = (BUILT / "worker.js").read_text(encoding="utf-8")
    return Response(
        f'const PAGE_INTEGRITY = "sha256-{drawn}";\n{script}',
        media_type="text/javascript",
        headers={"cache-control": "no-cache"},
    )


@router.get("/crew/tag-worker.js", include_in_schema=False)
def tag_worker() -> FileResponse:
    """The service worker of scanned tags, which the page takes for /T/ and /t/ alone."""
    return FileResponse(
        BUILT / "tag-worker.js",
        media_type="text/javascript",
        headers={"cache-control": "no-cache", "service-worker-allowed": "/"},
    )


@router.get("/crew/app.webmanifest", include_in_schema=False)
def app_manifest() -> FileResponse:
    """What a phone needs to know to put the crew's page on its home screen."""
    return FileResponse(
        BUILT / "app.webmanifest",
        media_type="application/manifest+json",
        headers={"cache-control": "no-cache"},
    )


@router.get("/t/{tag}", include_in_schema=False)
@router.get("/T/{tag}", include_in_schema=False)
def scanned(tag: str, here: Here) -> RedirectResponse:
    """Where a scanned tag leads: to the piece, or to tagging when nothing has claimed it yet."""
    with here.database.read() as session:
        found = reading.item(session, reading.EVERYTHING, tag.upper())
    return RedirectResponse(
        f"/facility/items/{found.tag}" if found else f"/crew/#tag={tag.upper()}", status_code=303
    )


@router.get("/m/{loss_id}/{manifest_id}", include_in_schema=False)
@router.get("/M/{loss_id}/{manifest_id}", include_in_schema=False)
def scanned_list(loss_id: RefPath, manifest_id: RefPath) -> RedirectResponse:
    """Where the scanned code of a truck's list leads: to receiving it.

    The list itself may still be on a phone without a network, so that it is not looked up.
    """
    return RedirectResponse(f"/crew/#/{loss_id}/receive/{manifest_id}", status_code=303)


@router.post(
    "/api/devices",
    status_code=201,
    summary="Enrol a phone with the office's code",
    responses={403: {"description": "The code is not known, was used or has run out"}},
)
def enrol_device(asked: Enrolment, here: Here) -> Device:
    """The code works once. The name of the device is random, so that no two write under one."""
    try:
        phone, clock = enrol(here, asked.code, asked.key)
    except EnrolmentError as error:
        raise HTTPException(403, str(error)) from error
    return Device(device=phone.phone, name=phone.name, clock=clock)


@router.get(
    "/api/devices/{device}",
    summary="Whether a phone may still write",
    responses={404: {"description": "No such phone"}},
)
def device_standing(device: RefPath, here: Here) -> DeviceStanding:
    """What a phone shows of itself."""
    with here.database.read() as session:
        phone = reading.phone(session, device)
    if phone is None:
        raise HTTPException(404, f"no phone is enrolled under the name {device}")
    return DeviceStanding(
        device=phone.phone,
        name=phone.name,
        revoked_at=phone.revoked_at,
        revoked_because=phone.revoked_because,
    )


@router.get("/api/losses", summary="Losses to choose from")
def list_losses(here: Here) -> list[LossLine]:
    """Every open loss."""
    with here.database.read() as session:
        return [
            LossLine(
                loss=loss.loss,
                title=loss.title,
                site=loss.site,
                peril=loss.peril,
                hazards=loss.hazards,
                authorised=bool(loss.authorisations),
            )
            for loss in reading.losses(session, reading.EVERYTHING)
        ]


@router.get(
    "/api/losses/{loss_id}",
    summary="What to read before entry",
    responses={404: {"description": "No such loss"}},
)
def brief(loss_id: RefPath, here: Here) -> LossBriefing:
    """The loss, its hazards and the cautions they call for."""
    with here.database.read() as session:
        loss = reading.loss(session, reading.EVERYTHING, loss_id)
    if loss is None:
        raise HTTPException(404, f"there is no loss {loss_id}")
    shown = cautions_for(
        perils=[loss.peril],
        hazards=loss.hazards,
        water_categories=[loss.water_category] if loss.water_category else [],
        known=here.facts,
    )
    return LossBriefing(
        loss=loss,
        cautions=[CautionShown(id=one.id, trigger=one.trigger, text=one.text) for one in shown],
        standing=[one.text for one in standing_cautions(here.facts)],
    )


@router.get(
    "/api/losses/{loss_id}/manifests",
    summary="Loads to receive",
    responses={404: {"description": "No such loss"}},
)
def loads(loss_id: RefPath, here: Here) -> ManifestsAnswer:
    """The manifests of a loss, what the pieces on them are, and where they can be put."""
    with here.database.read() as session:
        if reading.loss(session, reading.EVERYTHING, loss_id) is None:
            raise HTTPException(404, f"there is no loss {loss_id}")
        own = reading.within(loss_id)
        manifests = reading.manifests(session, own)
        tags = [tag for one in manifests for tag in (*one.tags, *one.received)]
        items = reading.items_by_tag(session, own, tags)
        replacements = reading.replacements(session, tags)
        facility = reading.facility(session).facility
    return ManifestsAnswer(
        manifests=[
            LoadOnTheRoad.model_validate(one.model_dump(include=set(LoadOnTheRoad.model_fields)))
            for one in manifests
        ],
        pieces=[
            PieceOnTheRoad(tag=tag, object_type=item.object_type, title=item.title)
            for tag, item in items.items()
        ],
        first_tags=replacements,
        stations=[
            StationChoice(id=one.id, label=one.label, kind=one.kind)
            for one in (facility.stations if facility else ())
        ],
    )


@router.get(
    "/api/items/{tag}",
    summary="A piece and what must happen to it first",
    responses={404: {"description": "No piece carries this tag"}},
)
def one_item(tag: TagPath, here: Here) -> ItemAnswer:
    """The record behind a tag, with its parts and its triage at this moment."""
    with here.database.read() as session:
        item = reading.item(session, reading.EVERYTHING, tag)
        if item is None:
            raise HTTPException(404, f"no piece carries the tag {tag}")
        parts = reading.parts_of(session, reading.EVERYTHING, item.tag)
        loss = reading.loss(session, reading.EVERYTHING, item.loss) if item.loss else None
        triage = triage_of(
            item, loss, here.now(), parts, reading.facility(session), known=here.facts
        )
    return ItemAnswer(item=item, parts=parts, triage=triage, band_label=triage.band.label)


_WORDS: dict[str, type[Labelled]] = {
    "materials": vocabulary.Material,
    "object_types": vocabulary.ObjectType,
    "damages": vocabulary.Damage,
    "extents": vocabulary.Extent,
    "hazards": vocabulary.Hazard,
    "perils": vocabulary.Peril,
    "water_categories": vocabulary.WaterCategory,
    "part_roles": vocabulary.PartRole,
    "photo_kinds": vocabulary.PhotoKind,
    "bands": vocabulary.Band,
    "significances": vocabulary.Significance,
    "value_bases": vocabulary.ValueBasis,
    "permissions": vocabulary.Permission,
}


@router.get("/api/vocabulary", summary="Every word a phone offers, with its plain label")
def all_words() -> dict[str, list[Word]]:
    """By list: materials, object types, damages and so on."""
    return {
        name: [Word(id=word.value, label=word.label) for word in words]
        for name, words in _WORDS.items()
    }


@router.get("/api/facts", summary="The triage tables compiled for the phone")
def triage_facts(here: Here) -> dict[str, Any]:
    """Tables, labels and the version hash that every result names."""
    return facts_as_json(here.facts)
