"""The pages on which a licensed person draws up, signs and renews treatment programmes."""

from collections.abc import Mapping, Sequence
from io import BytesIO

from fastapi import APIRouter, HTTPException, Request, Response
from fastapi.responses import HTMLResponse
from PIL import Image, UnidentifiedImageError
from starlette.datastructures import FormData

from service.crew.routes import RefPath
from service.facility.drawing import draw, zone
from service.facility.form_route import FormRoute, Sent, back, typed_in
from service.facility.programme_forms import (
    Fault,
    changed,
    described,
    read_programme,
    typed_of,
)
from service.facility.programmes import above_published, faults_in, missing_exclusions
from service.installation import Installation
from service.log import reading
from service.log.append import RefusedError
from service.log.routes import Here
from shared import events as ev
from shared.cautions import standing_cautions
from shared.programmes import State, standing_of
from shared.records import FacilityBook
from shared.vocabulary import Agent, Material, Role, Target

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

LARGEST_DOCUMENT = 20 * 1024 * 1024
FLAGS = {State.IN_FORCE: "done", State.EXPIRES_SOON: "caution"}


@router.get("/facility/programmes")
def programmes(request: Request, here: Here) -> HTMLResponse:
    """Signed programmes on file, as their signers wrote them."""
    with here.database.read() as session:
        book = reading.facility(session)
    day = here.now().date()
    return draw(
        request,
        "programmes.html",
        programmes=[
            (one, described(one), standing_of(one, book.facility, day))
            for one in book.newest_programmes()
        ],
        flags=FLAGS,
        standing=standing_cautions(here.facts),
    )


@router.get("/facility/programmes/new")
def new_programme(request: Request, here: Here) -> HTMLResponse:
    """An empty form: no figure is proposed."""
    return _form(request, here, {}, None)


@router.get("/facility/programmes/{programme_id}/new")
def new_version(request: Request, programme_id: RefPath, here: Here) -> HTMLResponse:
    """The form as the last version was signed, for the next."""
    last = _book(here).programme(programme_id)
    if last is None:
        raise HTTPException(404, f"no programme {programme_id} is on file")
    return _form(request, here, typed_of(last), programme_id)


@router.post("/facility/programmes/new")
def sign_new(request: Request, here: Here, sent: Sent) -> Response:
    """Sign the first version of a programme."""
    return _sign(request, here, sent, None)


@router.post("/facility/programmes/{programme_id}/new")
def sign_version(request: Request, programme_id: RefPath, here: Here, sent: Sent) -> Response:
    """Sign the next version of a programme."""
    return _sign(request, here, sent, programme_id)


@router.get("/facility/programmes/{programme_id}")
def programme(request: Request, programme_id: RefPath, here: Here) -> HTMLResponse:
    """Every version, what each changed, and who signed it when."""
    book = _book(here)
    versions = sorted(
        (one for one in book.programmes if one.id == programme_id),
        key=lambda one: one.version,
        reverse=True,
    )
    if not versions:
        raise HTTPException(404, f"no programme {programme_id} is on file")
    signatures = {one.version: one for one in book.signatures if one.programme == programme_id}
    newest = versions[0]
    return draw(
        request,
        "programme.html",
        newest=newest,
        pairs=described(newest),
        state=standing_of(newest, book.facility, here.now().date()),
        flags=FLAGS,
        warnings=above_published(newest, here.facts),
        versions=[
            (one, signatures.get(one.version), changed(before, one) if before else None)
            for one, before in zip(versions, [*versions[1:], None], strict=True)
        ],
        zone=zone(book),
    )


@router.get("/facility/programmes/documents/{digest}")
def document(digest: RefPath, here: Here) -> Response:
    """The document that a version was signed with."""
    if digest not in {one.document for one in _book(here).signatures}:
        raise HTTPException(404, "no programme was signed with this document")
    data = here.photos.get(digest)
    return Response(
        data,
        media_type=_media_type(data) or "application/octet-stream",
        headers={"content-disposition": f'attachment; filename="programme-{digest[:12]}"'},
    )


def _book(here: Installation) -> FacilityBook:
    with here.database.read() as session:
        return reading.facility(session)


def _sign(
    request: Request, here: Installation, sent: FormData, programme_id: str | None
) -> Response:
    typed = typed_in(sent)
    book = _book(here)
    last = book.programme(programme_id) if programme_id else None
    if programme_id:
        typed["id"] = [programme_id]
    written, faults = read_programme(typed, last.version + 1 if last else 1, here.facts)
    # Kept before anything is refused, so that the file need not be chosen again.
    faults += _keep_document(here, sent, typed)
    if written is not None:
        if last is None and book.programme(written.id) is not None:
            faults.append(("id", f"Short id: {written.id} is taken; open it for a new version"))
        faults += [
            *faults_in(written, book.facility, here.now().date(), here.facts),
            *missing_exclusions(written, here.facts),
        ]
    if written is None or faults:
        return _form(request, here, typed, programme_id, faults)
    kept = typed.get("document", [""])[0]
    body = ev.ProgrammeSigned(programme=written, document=kept or None)
    try:
        here.log.say(body, actor=written.signed_by, role=Role.FUMIGATOR)
    except RefusedError as error:
        return _form(request, here, typed, programme_id, [("label", str(error))])
    return back(f"/facility/programmes/{written.id}")


def _keep_document(
    here: Installation, sent: FormData, typed: dict[str, list[str]]
) -> Sequence[Fault]:
    upload = sent.get("file")
    if isinstance(upload, str) or upload is None or not upload.size:
        return ()
    data = upload.file.read()
    if len(data) > LARGEST_DOCUMENT:
        return [("file", "Document: more than 20 MB; send a smaller copy")]
    if _media_type(data) is None:
        return [("file", "Document: neither a PDF nor a picture; scan it as one of them")]
    typed["document"] = [here.photos.put_document(data)]
    return ()


def _media_type(data: bytes) -> str | None:
    """What the bytes are: a PDF, a picture, or ``None``."""
    if data.startswith(b"%PDF-"):
        return "application/pdf"
    try:
        with Image.open(BytesIO(data)) as picture:
            return picture.get_format_mimetype()
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError):
        return None


def _form(
    request: Request,
    here: Installation,
    typed: Mapping[str, Sequence[str]],
    programme_id: str | None,
    faults: Sequence[Fault] = (),
) -> HTMLResponse:
    facility = _book(here).facility
    known = here.facts
    return draw(
        request,
        "programme_form.html",
        422 if faults else 200,
        typed={name: values[0] if values else "" for name, values in typed.items()},
        targets=typed.get("targets", ()),
        exclusions=typed.get("exclusions", ()),
        programme_id=programme_id,
        faults=faults,
        errors=dict(reversed(faults)),
        agents=[("", "Choose"), *((one.value, one.label) for one in Agent)],
        all_targets=[(one.value, one.label) for one in Target],
        materials=[(one.value, one.label) for one in Material],
        gases=", ".join(one.label for one in Agent if known.agents[one].gas),
        licences=[
            ("", "None: no gas"),
            *(
                (one.licence_no, f"{one.licence_no}, {one.name}, {one.jurisdiction}")
                for one in (facility.licensed if facility else ())
            ),
        ],
    )
