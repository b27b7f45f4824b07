"""Drawing pages: templates, the built front end's file names, and words for times and sizes."""

import json
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

from service.changed_facts import changes_note
from service.reports.wording import shown_tag
from shared import vocabulary
from shared.events import Size

WEB = Path(__file__).parent / "web"
BUILT = WEB / "built"


class NotBuiltError(RuntimeError):
    """The front end has not been built."""


@cache
def _built_names() -> dict[str, str]:
    try:
        names: dict[str, str] = json.loads((BUILT / "manifest.json").read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise NotBuiltError("the front end is not built; run `make web` first") from error
    return names


def asset(name: str) -> str:
    """Address of a built file by its plain name. ``KeyError`` for one that was never built."""
    return f"/static/{_built_names()[name]}"


def moment(value: datetime | str | None, zone: str = "UTC") -> str:
    """A time as people write it, with its zone: ``Tue 4 Mar 2031, 14:05 GMT``."""
    if value is None:
        return ""
    when = datetime.fromisoformat(value) if isinstance(value, str) else value
    local = when.astimezone(ZoneInfo(zone))
    return f"{local:%a} {local.day} {local:%b %Y, %H:%M} {local.tzname()}"


def hour(value: datetime | None, zone: str, now: datetime) -> str:
    """A time beside others of one zone, the year only where it is not that of ``now``:
    ``Tue 4 Mar, 14:05``.
    """
    if value is None:
        return ""
    local = value.astimezone(ZoneInfo(zone))
    year = "" if local.year == now.astimezone(ZoneInfo(zone)).year else f" {local.year}"
    return f"{local:%a} {local.day} {local:%b}{year}, {local:%H:%M}"


def size_words(size: Size | None) -> str:
    """Height × width × depth as they were entered."""
    if size is None:
        return ""
    sides = [side for side in (size.height, size.width, size.depth) if side is not None]
    if len({side.unit for side in sides}) == 1:
        return " × ".join(side.value for side in sides) + f" {sides[0].unit}"
    return " × ".join(f"{side.value} {side.unit}" for side in sides)


@cache
def _environment() -> Environment:
    folders = [WEB / "templates", *(WEB.parent / name / "templates" for name in PLACES)]
    environment = Environment(
        loader=FileSystemLoader(folders),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(asset=asset, words=vocabulary)
    environment.filters.update(moment=moment, hour=hour, size=size_words, show_tag=shown_tag)
    return environment


PLACES = ("crew", "facility", "adjuster", "office")


def page(
    request: Request, template: str, context: dict[str, Any], status: int = 200
) -> HTMLResponse:
    """Draw ``template`` with ``context``; every page says what facts the facility changed."""
    text = (
        _environment()
        .get_template(template)
        .render(
            request=request,
            changed_facts=changes_note(request.app.state.installation.facts),
            **context,
        )
    )
    return HTMLResponse(text, status_code=status)
