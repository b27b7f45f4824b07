"""The two doors that a phone writes through: events and photos."""

from typing import Annotated, Any

import structlog
from fastapi import APIRouter, Depends, HTTPException, Path, Request, Response
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect

from service.installation import Installation
from service.log import reading
from service.log.append import Receipts, revoked_words
from service.log.signing import Received, UnsignedError, signer_of
from service.storage.photos import MAX_BYTES, SHOWN_PX, THUMBNAIL_PX, PhotoError
from shared.events import PhoneKey
from shared.records import Phone

router = APIRouter(tags=["log"])
logger = structlog.get_logger()

DigestPath = Annotated[str, Path(pattern="^[0-9a-f]{64}$", description="SHA-256 of the bytes.")]
MAX_BATCH = 1000


def installation(request: Request) -> Installation:
    """The installation this application serves."""
    found: Installation = request.app.state.installation
    return found


Here = Annotated[Installation, Depends(installation)]


def _phone(here: Installation, request: Request, body: bytes) -> Phone:
    """The phone that signed the request. Answers 401 when none did."""
    found: dict[str, Phone] = {}

    def key_of(device: str) -> PhoneKey | None:
        with here.database.read() as session:
            phone = reading.phone(session, device)
        if phone is None:
            return None
        found[device] = phone
        return phone.key

    path = request.scope["raw_path"].decode("latin-1")
    received = Received(request.method, path, request.headers)
    try:
        return found[signer_of(received, body, key_of)]
    except UnsignedError as error:
        raise HTTPException(401, str(error)) from error


async def signing_phone(request: Request, here: Here) -> Phone:
    """The phone that signed the request and its whole body."""
    return await run_in_threadpool(_phone, here, request, await request.body())


Signing = Annotated[Phone, Depends(signing_phone)]


class EventBatch(BaseModel):
    """Events as a device wrote them, oldest first."""

    events: list[dict[str, Any]] = Field(max_length=MAX_BATCH)


class PhotoReceipt(BaseModel):
    """The answer to a photo: re-hashed here, so it is known to have come whole."""

    sha256: str
    size: int
    width: int
    height: int


@router.post(
    "/log/events",
    summary="Store a batch of events, each at most once",
    responses={401: {"description": "Not signed by an enrolled phone"}},
)
def post_events(batch: EventBatch, here: Here, phone: Signing) -> Receipts:
    """Every event gets a receipt: stored, already stored, or refused with the reason.

    A device keeps an event until its receipt says stored or already stored. The request is signed
    with the device's own key (RFC 9421).
    """
    return here.log.append(batch.events, signed_by=phone.phone)


@router.put(
    "/photos/{digest}",
    summary="Store a photo under the SHA-256 of its bytes",
    responses={
        201: {"model": PhotoReceipt},
        401: {"description": "Not signed by an enrolled phone"},
        403: {"description": "The phone was revoked"},
        422: {"description": "Not a photo, or altered"},
    },
    openapi_extra={
        "requestBody": {"required": True, "content": {"image/jpeg": {}, "image/png": {}}}
    },
)
async def put_photo(
    digest: DigestPath, request: Request, response: Response, here: Here
) -> PhotoReceipt:
    """Takes the raw bytes, signed. Answers 201 when new and 200 when it was here already."""
    data = bytearray()
    try:
        async for chunk in request.stream():
            data += chunk
            if len(data) > MAX_BYTES:
                raise HTTPException(413, f"a photo of at most {MAX_BYTES} bytes is taken")
    except ClientDisconnect as error:
        # Everyday where the network is bad: the phone keeps the photo and sends it again.
        logger.info("phone gone in the middle of a photo", photo=digest, bytes=len(data))
        raise HTTPException(400, "the photo broke off before its end; send it again") from error
    phone = await run_in_threadpool(_phone, here, request, bytes(data))
    if phone.revoked_at is not None and not here.has_photo(digest):
        raise HTTPException(403, revoked_words(phone))
    try:
        facts, new = await run_in_threadpool(here.keep_photo, digest, bytes(data))
    except PhotoError as error:
        raise HTTPException(422, str(error)) from error
    response.status_code = 201 if new else 200
    return PhotoReceipt(
        sha256=facts.sha256, size=facts.size, width=facts.width, height=facts.height
    )


@router.get(
    "/photos/{digest}",
    summary="A smaller copy of a photo, without the camera's own data",
    response_class=Response,
    responses={200: {"content": {"image/jpeg": {}}}, 404: {"description": "No such photo"}},
)
def get_photo(digest: DigestPath, here: Here, small: bool = False) -> Response:
    """The sealed original is not served; what it was is proved by its digest in the log."""
    try:
        copy = here.photos.shown(digest, THUMBNAIL_PX if small else SHOWN_PX)
    except (KeyError, PhotoError) as error:
        raise HTTPException(404, "no such photo here; it may not have been sent yet") from error
    return Response(
        copy, media_type="image/jpeg", headers={"cache-control": "private, max-age=86400"}
    )
