"""What the facility's pages share: the links above them, their events and their small answers."""

from collections.abc import Sequence
from hashlib import sha256
from typing import Annotated

import structlog
from fastapi import Form, Request, Response
from fastapi.responses import HTMLResponse
from pydantic import BaseModel
from sqlmodel import Session

from labels.codes import TagError, parse_tag
from scheduler.plan import Plan
from scheduler.problem import Problem
from service.facility.form_route import ACTOR
from service.facility.plans import MissingPlanError, adopted
from service.installation import Installation
from service.log.append import RefusedError
from service.pages import page
from service.storage.photos import PhotoError
from shared.records import FacilityBook
from shared.vocabulary import Role

logger = structlog.get_logger()

FormText = Annotated[str, Form()]
SUBNAV = [
    ("/facility/", "Today"),
    ("/facility/items", "Pieces"),
    ("/facility/receive", "Receive"),
    ("/facility/plan", "Plan"),
    ("/facility/promise", "How soon"),
    ("/facility/runs", "Chamber runs"),
    ("/facility/studio", "Studio"),
    ("/facility/programmes", "Programmes"),
    ("/facility/condition", "Drying"),
    ("/facility/climate", "Climate"),
    ("/facility/setup", "Set-up"),
]


def draw(request: Request, template: str, status: int = 200, **context: object) -> HTMLResponse:
    """A page of the facility, with the links to its other pages."""
    return page(request, template, {"subnav_links": SUBNAV, **context}, status)


def say(
    here: Installation,
    body: BaseModel | Sequence[BaseModel],
    actor: str,
    role: Role = Role.LEAD,
) -> str | None:
    """Record an event from a form, or several, all or none; the reason when it was refused."""
    if not actor.strip():
        return ACTOR
    try:
        bodies = [body] if isinstance(body, BaseModel) else body
        here.log.say_all(bodies, actor=actor.strip(), role=role)
    except RefusedError as error:
        return str(error)
    return None


def kept_photo(here: Installation, data: bytes) -> tuple[str, str | None]:
    """The digest of a photo from a form, once it is kept; or the reason why it was not."""
    digest = sha256(data).hexdigest()
    try:
        here.keep_photo(digest, data)
    except PhotoError as error:
        return "", str(error)
    return digest, None


def typed_tag(text: str) -> tuple[str, str | None]:
    """A scanned or typed tag, or the mend."""
    try:
        return parse_tag(text), None
    except TagError as error:
        return "", str(error)


def plan_in_use(here: Installation, session: Session) -> tuple[Problem, Plan] | None:
    """The plan being worked by. Pages are drawn without one whose documents are missing."""
    try:
        return adopted(session, here.photos)
    except MissingPlanError as error:
        logger.warning("plan missing", reason=str(error))
        return None


def zone(book: FacilityBook) -> str:
    """The time zone that the facility keeps, for every time shown."""
    return book.facility.zone if book.facility else "UTC"


def station_names(book: FacilityBook) -> dict[str, str]:
    """What each station is called, by its id."""
    return {one.id: one.label for one in book.facility.stations} if book.facility else {}


def pdf(data: bytes, name: str) -> Response:
    """A document to look at in the browser."""
    return Response(
        data,
        media_type="application/pdf",
        headers={"content-disposition": f'inline; filename="{name}"'},
    )
