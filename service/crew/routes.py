"""The crew's page and what the phone asks while it has a network."""

from secrets import token_hex
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel

from service.assessing import triage_of
from service.log import reading
from service.log.append import greatest_clock
from service.log.routes import Here
from service.pages import page
from service.storage.tables import DeviceRow
from shared import vocabulary
from shared.cautions import cautions_for, standing_cautions
from shared.events import utc_text
from shared.facts import facts_as_json
from shared.records import Item, Loss
from shared.triage import Triage
from shared.vocabulary import Labelled

router = APIRouter(tags=["crew"])

TagPath = Annotated[str, Path(pattern="^[0-9A-HJKMNP-TV-Z]{13}$", description="A tag.")]
RefPath = Annotated[str, Path(pattern="^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]


class Device(BaseModel):
    """A new writer's name, and the clock to start from."""

    device: str
    clock: int


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


class Word(BaseModel):
    """One entry of a vocabulary."""

    id: str
    label: str


@router.get("/crew/", include_in_schema=False)
def crew_page(request: Request) -> HTMLResponse:
    """The crew's page: one program that the phone runs."""
    return page(request, "crew.html", {})


@router.get("/t/{tag}", include_in_schema=False)
@router.get("/T/{tag}", include_in_schema=False)
def scanned(tag: str, here: Here) -> RedirectResponse:
    """Where a scanned tag leads: to the piece, or to tagging when nothing has claimed it yet."""
    with here.database.read() as session:
        found = reading.item(session, reading.EVERYTHING, tag.upper())
    return RedirectResponse(
        f"/facility/items/{found.tag}" if found else f"/crew/#tag={tag.upper()}", status_code=303
    )


@router.post("/api/devices", status_code=201, summary="Give a new writer its name")
def new_device(here: Here) -> Device:
    """The name is random, so that no two phones can write under one."""
    device = f"phone-{token_hex(6)}"
    with here.database.write() as session:
        session.add(DeviceRow(device=device, label=device, made_at=utc_text(here.now())))
        return Device(device=device, clock=greatest_clock(session))


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
