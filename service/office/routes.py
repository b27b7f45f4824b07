"""The office's pages, and the start page."""

import io
import json
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path as FilePath
from tempfile import TemporaryDirectory
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import (
    APIRouter,
    Depends,
    File,
    Form,
    HTTPException,
    Query,
    Request,
    Response,
    UploadFile,
)
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse
from pydantic import BaseModel, Field

from labels.codes import TagError, new_tags
from labels.paper import PageSize
from labels.sheets import (
    GRID_EXAMPLE,
    LAYOUTS,
    LayoutError,
    layout_named,
    with_spare_stub,
    write_tag_sheets,
)
from service.crew.importing import (
    DEVICE_PREFIX,
    ImportRefusedError,
    check_import,
    import_spreadsheet,
    problems_in,
)
from service.crew.phones import (
    DEFAULT_MINUTES,
    MOST_MINUTES,
    Invitation,
    invite,
    open_invitations,
    phone_lines,
    revoke,
)
from service.crew.routes import RefPath, TagPath
from service.crew.spreadsheet import SpreadsheetError
from service.installation import Installation
from service.log import reading
from service.log.append import RefusedError
from service.log.reading import EVERYTHING, ItemFilter
from service.log.routes import DigestPath, Here
from service.office import second_tags, settling
from service.office.downloads import custody_file, inventory_file, sent_file
from service.office.forms import (
    AuthorisationForm,
    ClaimForm,
    FormError,
    HazardForm,
    ImportForm,
    InviteForm,
    LossForm,
    RevokeForm,
    zones,
)
from service.office.from_phone import (
    MOST_FILE_BYTES,
    FromPhoneError,
    RevokedPhonesError,
    take_in,
)
from service.office.qr import drawn
from service.pages import page
from service.reports.inventory_csv import neutralised
from service.reports.issue import InventoryFormat, NotFoundError, write_manifest
from service.reports.wording import shown_tag
from service.storage.tables import RefusedRow
from shared.cautions import cautions_for, standing_cautions
from shared.events import utc_text
from shared.quantities import LengthUnit
from shared.records import Item, Loss, Phone
from shared.vocabulary import Decision, Hazard, Labelled, Peril, Phase, Role, WaterCategory

router = APIRouter(tags=["office"], include_in_schema=False)

MOST_TAGS = 2000
DEFAULT_TAGS = 48
MOST_ROWS = 5000
"""Rows of a spreadsheet taken while a browser waits; more go by the command line."""

MOST_DOCUMENT_BYTES = 25 * 1024 * 1024
REFUSED_SHOWN = 200
PHONE_FAULTS_SHOWN = 200
PREPARED_BY = "Office"
SUBNAV = [
    ("/office/", "Losses"),
    ("/office/tags", "Tags"),
    ("/office/phones", "Phones"),
    ("/office/conflicts", "To settle"),
    ("/office/refused", "Refused"),
    ("/office/from-phone", "A phone's file"),
]
FormText = Annotated[str, Form()]
Faults = dict[str, str]


def _draw(request: Request, template: str, status: int = 200, **context: object) -> HTMLResponse:
    return page(request, template, {"subnav_links": SUBNAV, "faults": {}, **context}, status)


def _options(words: type[Labelled]) -> list[tuple[str, str]]:
    return [(word.value, word.label) for word in words]


def _to(path: str, **query: object) -> RedirectResponse:
    return RedirectResponse(f"{path}?{urlencode(query)}" if query else path, status_code=303)


def _loss(here: Installation, loss_id: str) -> Loss:
    with here.database.read() as session:
        loss = reading.loss(session, EVERYTHING, loss_id)
    if loss is None:
        raise HTTPException(404, f"there is no loss {loss_id}")
    return loss


def _losses(here: Installation) -> list[Loss]:
    with here.database.read() as session:
        return reading.losses(session, EVERYTHING)


def _newest_first(losses: Sequence[Loss]) -> list[Loss]:
    return sorted(
        losses,
        key=lambda loss: loss.happened_at.timestamp() if loss.happened_at else 0.0,
        reverse=True,
    )


# --- the start page -----------------------------------------------------------------------------


@router.get("/")
def start(request: Request, here: Here) -> HTMLResponse:
    """Four doors, one for each person, and how things stand."""
    with here.database.read() as session:
        losses = reading.losses(session, EVERYTHING)
        counts = reading.counts_by_station(session, EVERYTHING)
        on_the_way = sum(
            len(one.missing) for one in reading.manifests(session, EVERYTHING) if one.handovers
        )
        running = [
            run
            for run in reading.runs(session)
            if run.phase not in {Phase.PLANNED, Phase.UNLOADED, Phase.ABORTED}
        ]
        conflicts = reading.items(session, EVERYTHING, ItemFilter(only_conflicts=True))
    return page(
        request,
        "office_start.html",
        {
            "losses": len(losses),
            "at_facility": sum(counts.values()),
            "on_the_way": on_the_way,
            "running": len(running),
            "conflicts": len(conflicts),
            "cautions": [one.text for one in standing_cautions(here.facts)],
        },
    )


# --- losses -------------------------------------------------------------------------------------


@router.get("/office/")
def losses(request: Request, here: Here) -> HTMLResponse:
    """Every loss, the newest first."""
    return _draw(request, "office_losses.html", losses=_newest_first(_losses(here)))


def _next_reference(losses: Sequence[Loss], now: datetime) -> str:
    taken = {loss.loss for loss in losses}
    numbers = (f"{now.year}-{count:03d}" for count in range(1, len(taken) + 2))
    return next(number for number in numbers if number not in taken)


def _loss_page(request: Request, form: LossForm, faults: Faults, status: int = 200) -> HTMLResponse:
    return _draw(
        request,
        "office_loss_new.html",
        status,
        form=form,
        faults=faults,
        perils=_options(Peril),
        hazards=_options(Hazard),
        waters=_options(WaterCategory),
        zones=[(zone, zone.replace("_", " ")) for zone in zones()],
    )


@router.get("/office/losses/new")
def new_loss(request: Request, here: Here) -> HTMLResponse:
    """A call comes in."""
    return _loss_page(request, LossForm(reference=_next_reference(_losses(here), here.now())), {})


@router.post("/office/losses/new")
def open_loss(request: Request, here: Here, form: Annotated[LossForm, Form()]) -> Response:
    """Open the loss, or show every fault beside its field."""
    try:
        body = form.read((loss.loss for loss in _losses(here)), here.now())
        reference = form.reference.strip()
        here.log.say(body, actor=form.actor.strip(), role=Role.OFFICE, loss=reference)
    except FormError as error:
        return _loss_page(request, form, error.faults, 422)
    except RefusedError as error:
        return _loss_page(request, form, {"reference": str(error)}, 422)
    return _to(f"/office/losses/{reference}")


class ImportDone(BaseModel):
    """What an import just brought in; nothing, when the page is opened otherwise."""

    taken: int | None = None
    already: int = 0
    left: int = 0


@dataclass(frozen=True)
class LossCounts:
    """How many pieces of a loss stand where."""

    pieces: int
    objects: int
    received: int
    returned: int
    undecided: int
    conflicts: int
    without_photo: int
    decisions: dict[Decision, int]


def _counts(items: Sequence[Item]) -> LossCounts:
    decided = Counter(item.decision.decision for item in items if item.decision)
    return LossCounts(
        pieces=len(items),
        objects=sum(item.quantity for item in items),
        received=sum(1 for item in items if item.received_at),
        returned=sum(1 for item in items if item.returned_to),
        undecided=sum(1 for item in items if item.decision is None),
        conflicts=sum(1 for item in items if item.conflicts),
        without_photo=sum(1 for item in items if not item.photos),
        decisions={decision: decided[decision] for decision in Decision if decided[decision]},
    )


@router.get("/office/losses/{loss_id}")
def one_loss(
    request: Request,
    loss_id: RefPath,
    here: Here,
    imported: Annotated[ImportDone, Query()],
) -> HTMLResponse:
    """One loss: facts, hazards, claims, authorisations, manifests and everything to download."""
    loss = _loss(here, loss_id)
    with here.database.read() as session:
        items = reading.items(session, EVERYTHING, ItemFilter(loss=loss_id))
        manifests = [one for one in reading.manifests(session, EVERYTHING) if one.loss == loss_id]
    per_claim = Counter(item.claim for item in items)
    cautions = cautions_for(
        perils=[loss.peril],
        hazards=loss.hazards,
        water_categories=[loss.water_category] if loss.water_category else [],
        known=here.facts,
    )
    return _draw(
        request,
        "office_loss.html",
        loss=loss,
        counts=_counts(items),
        per_claim=per_claim,
        manifests=manifests,
        cautions=[one.text for one in (*cautions, *standing_cautions(here.facts))],
        imported=imported,
        untagged=len(_by_spreadsheet(items)),
        layouts=_layouts(),
        second=second_tags.choices(items),
    )


@router.get("/office/losses/{loss_id}/claims/new")
def new_claim(request: Request, loss_id: RefPath, here: Here) -> HTMLResponse:
    """A claim is added."""
    return _draw(request, "office_claim.html", loss=_loss(here, loss_id), form=ClaimForm())


@router.post("/office/losses/{loss_id}/claims/new")
def add_claim(
    request: Request, loss_id: RefPath, here: Here, form: Annotated[ClaimForm, Form()]
) -> Response:
    """Add the claim, or show every fault beside its field."""
    loss = _loss(here, loss_id)
    try:
        body = form.read(_losses(here))
        here.log.say(body, actor=form.actor.strip(), role=Role.OFFICE, loss=loss_id)
    except FormError as error:
        return _draw(request, "office_claim.html", 422, loss=loss, form=form, faults=error.faults)
    return _to(f"/office/losses/{loss_id}")


@router.get("/office/losses/{loss_id}/authorisations/new")
def new_authorisation(request: Request, loss_id: RefPath, here: Here) -> HTMLResponse:
    """An authorisation is recorded."""
    return _draw(
        request, "office_authorisation.html", loss=_loss(here, loss_id), form=AuthorisationForm()
    )


def _typed_authorisation(
    given_by: FormText = "", covers: FormText = "", actor: FormText = ""
) -> AuthorisationForm:
    return AuthorisationForm(given_by=given_by, covers=covers, actor=actor)


@router.post("/office/losses/{loss_id}/authorisations/new")
def add_authorisation(
    request: Request,
    loss_id: RefPath,
    here: Here,
    form: Annotated[AuthorisationForm, Depends(_typed_authorisation)],
    document: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Record it with the document, if one came, or show every fault beside its field."""
    loss = _loss(here, loss_id)
    data = document.file.read(MOST_DOCUMENT_BYTES + 1) if document is not None else b""
    try:
        form.read(None)
        if len(data) > MOST_DOCUMENT_BYTES:
            raise FormError({"document": "Document: at most 25 MB are taken; scan it smaller."})
        body = form.read(here.photos.put_document(data) if data else None)
        here.log.say(body, actor=form.actor.strip(), role=Role.OFFICE, loss=loss_id)
    except FormError as error:
        return _draw(
            request, "office_authorisation.html", 422, loss=loss, form=form, faults=error.faults
        )
    return _to(f"/office/losses/{loss_id}")


@router.get("/office/losses/{loss_id}/documents/{digest}")
def document(loss_id: RefPath, digest: DigestPath, here: Here) -> Response:
    """The document of an authorisation, exactly as it came in; never opened in the browser."""
    loss = _loss(here, loss_id)
    if digest not in {one.document for one in loss.authorisations}:
        raise HTTPException(404, "no authorisation of this loss has that document")
    try:
        data = here.photos.get(digest)
    except KeyError as error:
        raise HTTPException(404, "the document has not come in yet") from error
    return Response(
        data,
        media_type="application/octet-stream",
        headers={"content-disposition": f'attachment; filename="authorisation-{digest[:12]}"'},
    )


@router.get("/office/losses/{loss_id}/hazards/new")
def new_hazard(request: Request, loss_id: RefPath, here: Here) -> HTMLResponse:
    """A hazard is noted."""
    return _draw(
        request,
        "office_hazard.html",
        loss=_loss(here, loss_id),
        form=HazardForm(),
        hazards=_options(Hazard),
    )


@router.post("/office/losses/{loss_id}/hazards/new")
def add_hazard(
    request: Request, loss_id: RefPath, here: Here, form: Annotated[HazardForm, Form()]
) -> Response:
    """Note it, or show every fault beside its field."""
    loss = _loss(here, loss_id)
    try:
        here.log.say(form.read(), actor=form.actor.strip(), role=Role.OFFICE, loss=loss_id)
    except FormError as error:
        return _draw(
            request,
            "office_hazard.html",
            422,
            loss=loss,
            form=form,
            hazards=_options(Hazard),
            faults=error.faults,
        )
    return _to(f"/office/losses/{loss_id}")


# --- downloads ----------------------------------------------------------------------------------


@router.get("/office/losses/{loss_id}/inventory.{form}")
def inventory(
    loss_id: RefPath, form: InventoryFormat, here: Here, paper: PageSize = PageSize.A4
) -> FileResponse:
    """The inventory of every claim of the loss."""
    try:
        return inventory_file(
            here, EVERYTHING, loss_id, form, prepared_by=PREPARED_BY, page_size=paper
        )
    except NotFoundError as error:
        raise HTTPException(404, str(error)) from error


@router.get("/office/losses/{loss_id}/custody.zip")
def custody(loss_id: RefPath, here: Here) -> FileResponse:
    """The custody bundle of the loss."""
    try:
        return custody_file(here, EVERYTHING, loss_id)
    except NotFoundError as error:
        raise HTTPException(404, str(error)) from error


@router.get("/office/manifests/{manifest_id}.pdf")
def manifest(manifest_id: RefPath, here: Here, paper: PageSize = PageSize.A4) -> FileResponse:
    """The sheet that goes with a truck."""

    def write(path: FilePath) -> None:
        write_manifest(here, manifest_id, path, page_size=paper)

    try:
        return sent_file(write, f"manifest-{manifest_id}.pdf", "application/pdf")
    except NotFoundError as error:
        raise HTTPException(404, str(error)) from error


# --- tags ---------------------------------------------------------------------------------------


def _layouts() -> list[tuple[str, str]]:
    return [(one.name, one.words) for one in LAYOUTS.values()]


def _by_spreadsheet(items: Sequence[Item]) -> list[str]:
    """The tags of the pieces that a spreadsheet brought in."""
    return [
        item.tag
        for item in items
        if item.custody and item.custody[0].event.startswith(f"{DEVICE_PREFIX}-")
    ]


@router.get("/office/losses/{loss_id}/tags.pdf")
def print_tags_of_spreadsheet(loss_id: RefPath, here: Here, layout: str) -> FileResponse:
    """The tags of the pieces that came by spreadsheet, to be tied to them."""
    loss = _loss(here, loss_id)
    with here.database.read() as session:
        wanted = _by_spreadsheet(reading.items(session, EVERYTHING, ItemFilter(loss=loss_id)))
    if not wanted:
        raise HTTPException(404, f"no piece of loss {loss_id} came by spreadsheet")
    try:
        chosen = layout_named(layout)
        return sent_file(
            lambda path: write_tag_sheets(
                path, wanted, chosen, here.settings.base_url, title=f"Tags of {loss.title}"
            ),
            f"tags-{loss_id}.pdf",
            "application/pdf",
        )
    except (TagError, LayoutError) as error:
        raise HTTPException(422, str(error)) from error


@dataclass(frozen=True)
class TagsForm:
    """Blank tags, as typed."""

    count: str = str(DEFAULT_TAGS)
    layout: str = next(iter(LAYOUTS))
    measures: str = ""
    stub: bool = False


def _tags_page(request: Request, form: TagsForm, faults: Faults, status: int = 200) -> HTMLResponse:
    return _draw(
        request,
        "office_tags.html",
        status,
        form=form,
        layouts=_layouts(),
        example=GRID_EXAMPLE,
        most=MOST_TAGS,
        faults=faults,
    )


@router.get("/office/tags")
def tags(request: Request) -> HTMLResponse:
    """Blank tags, printed ahead."""
    return _tags_page(request, TagsForm(), {})


def _typed_tags(
    count: FormText = "", layout: FormText = "", measures: FormText = "", stub: FormText = ""
) -> TagsForm:
    return TagsForm(count, layout, measures.strip(), bool(stub))


@router.post("/office/tags")
def print_tags(
    request: Request, here: Here, form: Annotated[TagsForm, Depends(_typed_tags)]
) -> Response:
    """A PDF of new tags, each unlike any other; nothing is recorded until one is tied on."""
    faults: Faults = {}
    typed = form.count.strip()
    number = int(typed) if typed.isdecimal() and len(typed) < 6 else 0
    if not 1 <= number <= MOST_TAGS:
        faults["count"] = f"How many: write a whole number from 1 to {MOST_TAGS}."
    target = io.BytesIO()
    try:
        chosen = layout_named(form.measures or form.layout)
        if form.stub:
            chosen = with_spare_stub(chosen)
        if not faults:
            write_tag_sheets(target, new_tags(number), chosen, here.settings.base_url)
    except (TagError, LayoutError) as error:
        faults["measures" if form.measures else "layout"] = f"Paper: {error}."
    if faults:
        return _tags_page(request, form, faults, 422)
    return Response(
        target.getvalue(),
        media_type="application/pdf",
        headers={"content-disposition": f'attachment; filename="tags-{number}.pdf"'},
    )


# --- the crews' phones --------------------------------------------------------------------------


def _phones_page(
    request: Request,
    here: Installation,
    form: InviteForm,
    faults: Faults,
    invitation: Invitation | None = None,
) -> HTMLResponse:
    with here.database.read() as session:
        lines = phone_lines(session)
        waiting = open_invitations(session, utc_text(here.now()))
    address = invitation.address(here.settings.base_url) if invitation else ""
    answer = _draw(
        request,
        "office_phones.html",
        422 if faults else 200,
        form=form,
        faults=faults,
        lines=lines,
        waiting=waiting,
        invitation=invitation,
        address=address,
        symbol=drawn(address) if invitation else None,
        default_minutes=DEFAULT_MINUTES,
        most_minutes=MOST_MINUTES,
    )
    # The code is on this page and nowhere else.
    answer.headers["cache-control"] = "no-store"
    return answer


@router.get("/office/phones")
def phones(request: Request, here: Here) -> HTMLResponse:
    """Every phone, and the invitation of another."""
    return _phones_page(request, here, InviteForm(), {})


@router.post("/office/phones")
def invite_phone(request: Request, here: Here, form: Annotated[InviteForm, Form()]) -> HTMLResponse:
    """Show a code for one phone, once: it is not kept, so that no page can show it again."""
    try:
        made = invite(
            here,
            minutes=form.read(),
            name=form.name.strip(),
            holder=form.holder.strip(),
            actor=form.actor.strip(),
        )
    except FormError as error:
        return _phones_page(request, here, form, error.faults)
    return _phones_page(request, here, InviteForm(actor=form.actor), {}, made)


def _known_phone(here: Installation, device: str) -> Phone:
    with here.database.read() as session:
        phone = reading.phone(session, device)
    if phone is None:
        raise HTTPException(404, f"no phone is enrolled under the name {device}")
    return phone


@router.get("/office/phones/{device}/revoke")
def ask_revoke(request: Request, device: RefPath, here: Here) -> HTMLResponse:
    """What revoking does, before it is done."""
    return _draw(
        request, "office_phone_revoke.html", phone=_known_phone(here, device), form=RevokeForm()
    )


@router.post("/office/phones/{device}/revoke")
def revoke_phone(
    request: Request, device: RefPath, here: Here, form: Annotated[RevokeForm, Form()]
) -> Response:
    """Stop the phone, or show every fault beside its field."""
    phone = _known_phone(here, device)
    try:
        revoke(here, device, reason=form.read(), actor=form.actor.strip())
    except FormError as error:
        return _draw(
            request, "office_phone_revoke.html", 422, phone=phone, form=form, faults=error.faults
        )
    return _to("/office/phones")


# --- a crew's spreadsheet -----------------------------------------------------------------------


class SentSpreadsheet(ImportForm):
    """A file that came in before, and what was said of it."""

    digest: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    name: str = ""
    partial: str = ""


@contextmanager
def _spreadsheet(here: Installation, sent: SentSpreadsheet) -> Iterator[FilePath]:
    """The file that came in, on disk under its own name for as long as it is read."""
    try:
        data = here.photos.get(sent.digest)
    except KeyError as error:
        raise HTTPException(404, "the file has not come in; choose it again") from error
    with TemporaryDirectory(prefix="lagan-import-") as folder:
        path = FilePath(folder) / (FilePath(sent.name).name or "spreadsheet.csv")
        path.write_bytes(data)
        yield path


def _import_page(
    request: Request, loss: Loss, form: ImportForm, faults: Faults, status: int = 200
) -> HTMLResponse:
    return _draw(
        request,
        "office_import.html",
        status,
        loss=loss,
        form=form,
        units=[(unit.value, unit.value) for unit in LengthUnit],
        faults=faults,
    )


@router.get("/office/losses/{loss_id}/import")
def choose_spreadsheet(request: Request, loss_id: RefPath, here: Here) -> HTMLResponse:
    """A crew's spreadsheet comes in."""
    return _import_page(request, _loss(here, loss_id), ImportForm(), {})


def _typed_import(
    length_unit: FormText = "", currency: FormText = "", actor: FormText = ""
) -> ImportForm:
    return ImportForm(length_unit=length_unit, currency=currency, actor=actor)


@router.post("/office/losses/{loss_id}/import")
def check_spreadsheet(
    request: Request,
    loss_id: RefPath,
    here: Here,
    form: Annotated[ImportForm, Depends(_typed_import)],
    file: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Say what the file holds and what is wrong with it; nothing is taken yet."""
    loss = _loss(here, loss_id)
    data = file.file.read() if file is not None else b""
    name = FilePath((file.filename if file else "") or "spreadsheet.csv").name[:120]
    faults: Faults = {} if data else {"file": "File: choose a CSV file that is not empty."}
    try:
        options = form.read()
        if faults:
            return _import_page(request, loss, form, faults, 422)
        sent = SentSpreadsheet(
            digest=here.photos.put_document(data), name=name, **form.model_dump()
        )
        with _spreadsheet(here, sent) as path:
            report = check_import(here, path, loss_id, options)
    except FormError as error:
        return _import_page(request, loss, form, {**faults, **error.faults}, 422)
    except SpreadsheetError as error:
        return _import_page(request, loss, form, {"file": f"File: {error}."}, 422)
    return _draw(
        request,
        "office_import_check.html",
        loss=loss,
        sent=sent,
        report=report,
        delimiters={",": "commas", ";": "semicolons", "\t": "tabs"},
        most_rows=MOST_ROWS,
        problems_link=f"/office/losses/{loss_id}/import/problems.csv?"
        + urlencode(sent.model_dump(exclude={"actor", "partial"})),
    )


@router.get("/office/losses/{loss_id}/import/problems.csv")
def import_problems(
    loss_id: RefPath, here: Here, sent: Annotated[SentSpreadsheet, Query()]
) -> FileResponse:
    """Every problem of the file, to work through beside it."""
    try:
        options = sent.model_copy(update={"actor": PREPARED_BY}).read()
    except FormError as error:
        raise HTTPException(422, str(error)) from error

    def write(path: FilePath) -> None:
        with _spreadsheet(here, sent) as source, path.open("w", encoding="utf-8") as out:
            out.write("row,column,value,mend\r\n")
            for one in problems_in(here, source, loss_id, options):
                cells = (str(one.row), *map(neutralised, (one.column, one.value, one.mend)))
                out.write(",".join('"' + cell.replace('"', '""') + '"' for cell in cells) + "\r\n")

    try:
        return sent_file(write, f"problems-{loss_id}.csv", "text/csv; charset=utf-8")
    except (SpreadsheetError, ImportRefusedError) as error:
        raise HTTPException(422, str(error)) from error


@router.post("/office/losses/{loss_id}/import/confirm")
def confirm_import(
    request: Request, loss_id: RefPath, here: Here, form: Annotated[SentSpreadsheet, Form()]
) -> Response:
    """Take the file in: whole, or as far as it is sound."""
    loss = _loss(here, loss_id)
    try:
        options = form.read()
        with _spreadsheet(here, form) as path:
            outcome = import_spreadsheet(
                here,
                path,
                loss_id,
                actor=form.actor.strip(),
                partial=form.partial == "yes",
                options=options,
            )
    except FormError as error:
        return _import_page(request, loss, form, error.faults, 422)
    except (SpreadsheetError, ImportRefusedError) as error:
        return _import_page(request, loss, form, {"file": f"File: {error}."}, 422)
    if not outcome.written:
        fault = (
            "File: nothing was taken, for some rows have problems by now; choose it again to see."
        )
        return _import_page(request, loss, form, {"file": fault}, 422)
    return _to(
        f"/office/losses/{loss_id}",
        taken=outcome.pieces_stored,
        already=outcome.pieces_already_stored,
        left=outcome.report.rows_with_problems,
    )


# --- what a phone could not send ----------------------------------------------------------------


@router.get("/office/from-phone")
def choose_phone_file(request: Request) -> HTMLResponse:
    """A phone's file comes in by hand."""
    return _draw(request, "office_from_phone.html")


@router.post("/office/from-phone")
def take_phone_file(
    request: Request, here: Here, file: Annotated[UploadFile | None, File()] = None
) -> HTMLResponse:
    """Take in what is sound, and say of everything else why not."""
    if file is None or not file.size:
        fault = "File: choose the file that the phone saved; it is not empty."
    elif file.size > MOST_FILE_BYTES:
        fault = "File: at most 60 MB are taken; a phone never saves a larger one."
    else:
        data = file.file.read()
        try:
            return _taken_in(request, here, data)
        except FromPhoneError as error:
            fault = f"File: {error}."
        except RevokedPhonesError as error:
            return _draw(
                request,
                "office_from_phone.html",
                revoked=error.phones,
                proof=error.proof,
                digest=here.photos.put_document(data),
            )
    return _draw(request, "office_from_phone.html", 422, faults={"file": fault})


def _taken_in(
    request: Request, here: Installation, data: bytes, although_revoked: bool = False
) -> HTMLResponse:
    done = take_in(here, io.BytesIO(data), although_revoked=although_revoked)
    return _draw(request, "office_from_phone.html", done=done, most_shown=PHONE_FAULTS_SHOWN)


@router.post("/office/from-phone/confirm")
def take_file_of_revoked_phone(
    request: Request,
    here: Here,
    digest: Annotated[str, Form(pattern="^[0-9a-f]{64}$")],
) -> HTMLResponse:
    """Take in the file of a revoked phone, now that somebody has seen that it was revoked."""
    try:
        return _taken_in(request, here, here.photos.get(digest), although_revoked=True)
    except KeyError as error:
        raise HTTPException(404, "the file has not come in; choose it again") from error
    except FromPhoneError as error:
        faults = {"file": f"File: {error}."}
    return _draw(request, "office_from_phone.html", 422, faults=faults)


# --- what waits for a person --------------------------------------------------------------------


@router.get("/office/conflicts")
def conflicts(request: Request, here: Here) -> HTMLResponse:
    """Fields entered differently by two people, and tags tied to two pieces."""
    with here.database.read() as session:
        items = reading.items(session, EVERYTHING, ItemFilter(only_conflicts=True))
    return _draw(
        request,
        "office_conflicts.html",
        open=[
            (item, conflict)
            for item in items
            for conflict in item.conflicts
            if conflict.field != settling.TAG_FIELD
        ],
        twice=[
            (item, conflict)
            for item in items
            for conflict in item.conflicts
            if conflict.field == settling.TAG_FIELD
        ],
        label=settling.field_label,
        value_words=settling.value_words,
        tagged_words=settling.tagged_words,
    )


class SettleForm(BaseModel):
    """A choice between values, and the events whose values were shown."""

    seen: list[str] = Field(default_factory=list)
    chosen: str = ""
    actor: str = ""


def _settle_page(
    request: Request, item: Item, field: str, form: SettleForm, **shown: Any
) -> HTMLResponse:
    conflict = settling.open_conflict(item, field)
    if conflict is None or field == settling.TAG_FIELD:
        raise HTTPException(404, "this is settled; see the list of what is open")
    return _draw(
        request,
        "office_settle.html",
        item=item,
        conflict=conflict,
        label=settling.field_label(field),
        value_words=settling.value_words,
        shown_tag=shown_tag(item.tag),
        form=form,
        **shown,
    )


def _item(here: Installation, tag: str) -> Item:
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tag)
    if item is None:
        raise HTTPException(404, f"no piece carries the tag {tag}")
    return item


@router.get("/office/conflicts/{tag}/{field}")
def one_conflict(request: Request, tag: TagPath, field: str, here: Here) -> HTMLResponse:
    """The values of one field, side by side."""
    return _settle_page(request, _item(here, tag), field, SettleForm())


@router.post("/office/conflicts/{tag}/{field}")
def settle(
    request: Request, tag: TagPath, field: str, here: Here, form: Annotated[SettleForm, Form()]
) -> Response:
    """Let one value stand in place of all that were shown."""
    item = _item(here, tag)
    faults: Faults = {}
    if not form.actor.strip():
        faults["actor"] = "Your name: say who you are, so that the record can."
    try:
        body = settling.settled(item, field, form.chosen, form.seen)
        if not faults:
            here.log.say(body, actor=form.actor.strip(), role=Role.OFFICE, loss=item.loss)
    except settling.SettlingError as error:
        faults["chosen"] = str(error)
    if faults:
        return _settle_page(request, item, field, form, faults=faults, status=422)
    return _to("/office/conflicts")


@dataclass(frozen=True)
class RefusedLine:
    """A refused event as the office reads it."""

    event: str
    reason: str
    received_at: str
    who: str
    what: str
    data: str


def _refused_line(row: RefusedRow) -> RefusedLine:
    text = row.data.decode("utf-8", "replace")
    try:
        raw: Any = json.loads(text)
    except ValueError:
        raw = None
    parts = raw if isinstance(raw, dict) else {}
    body = parts.get("body")
    return RefusedLine(
        event=row.event,
        reason=row.reason,
        received_at=row.received_at,
        who=str(parts.get("actor", "")),
        what=str(body.get("type", "")).replace("_", " ") if isinstance(body, dict) else "",
        data=json.dumps(raw, ensure_ascii=False, indent=1)[:4000] if parts else text[:4000],
    )


@router.get("/office/refused")
def refused(request: Request, here: Here) -> HTMLResponse:
    """Events that were not taken, each with the reason; none is lost."""
    with here.database.read() as session:
        rows = reading.refused(session)
    return _draw(
        request,
        "office_refused.html",
        lines=[_refused_line(row) for row in rows[:REFUSED_SHOWN]],
        count=len(rows),
    )
