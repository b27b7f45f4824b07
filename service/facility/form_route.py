"""Forms of the facility's pages: what does not fit comes back to its page as a sentence."""

from collections.abc import Callable, Coroutine
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import Depends, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import RedirectResponse
from fastapi.routing import APIRoute
from pydantic import ValidationError
from starlette.datastructures import FormData

from shared import events as ev
from shared.vocabulary import PlanEditKind

ACTOR = "Your name: say who you are, so that the record can."
ACTIONS = frozenset(
    {"step", "move", "open", "phase", "reading", "dose", "hold", "sign", "unseal"}
    | {"abort", "unload", "check", "climate", "override"}
    | {"solve", "adopt", "stop", "drop", "close", "withdraw", "told", "photo", "add", "take-off"}
    | set(PlanEditKind)
)
"""Last parts of the addresses that forms are sent to; the page is the address before it."""


async def _sent(request: Request) -> FormData:
    return await request.form()


Sent = Annotated[FormData, Depends(_sent)]
"""A form whose fields are not known beforehand, as it was sent."""


def typed_in(sent: FormData) -> dict[str, list[str]]:
    """Every field of a form as it was typed; files are left out."""
    return {
        name: [value for value in sent.getlist(name) if isinstance(value, str)] for name in sent
    }


def back(path: str, problem: str | None = None) -> RedirectResponse:
    """Back to a page after a form, with the reason when nothing was saved."""
    return RedirectResponse(
        f"{path}?problem={quote(problem)}" if problem else path, status_code=303
    )


class FormRoute(APIRoute):
    """A route whose form, when it cannot be read, leads back to its page with the reason."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The handler, with that manner added."""
        handle = super().get_route_handler()

        async def careful(request: Request) -> Response:
            try:
                return await handle(request)
            except RequestValidationError as error:
                first = error.errors()[0]
                if request.method != "POST" or first["loc"][0] != "body":
                    raise
                return back(_page_of(request), _mend(first))
            except ValidationError as error:
                if request.method != "POST":
                    raise
                return back(_page_of(request), ev.describe(error))

        return careful


def _page_of(request: Request) -> str:
    path, _, last = request.url.path.rpartition("/")
    return path if last in ACTIONS else request.url.path


def _mend(fault: dict[str, Any]) -> str:
    field = str(fault["loc"][-1])
    if fault["type"] == "missing":
        return ACTOR if field == "actor" else f"{field.replace('_', ' ')}: fill this in."
    return f"{field.replace('_', ' ')}: {fault['msg']}"
