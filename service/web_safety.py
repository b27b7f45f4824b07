"""What every answer carries and every request must fit, whatever the route."""

import time
from uuid import uuid4

import structlog
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

logger = structlog.get_logger()

MAX_BODY_BYTES = 64 * 1024 * 1024
POLICY = (
    "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; img-src 'self' blob: data:; "
    "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(self), geolocation=(), microphone=()"),
)


TOO_LARGE = f"a body of at most {MAX_BODY_BYTES} bytes is taken"


class TooLargeError(HTTPException):
    """A body grew past the limit while it was being read.

    It is an HTTP answer, because the framework takes any other error for a body that cannot be
    read, which would tell the sender to mend what is not broken.
    """

    def __init__(self) -> None:
        super().__init__(413, TOO_LARGE)


class Safety:
    """Middleware: a body limit, no writing from other sites, safe headers, one log line each."""

    def __init__(self, app: ASGIApp) -> None:
        """Stand in front of ``app``."""
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = dict(scope["headers"])
        started, status = time.perf_counter(), 500
        taken = 0
        answered = False

        async def limited() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > MAX_BODY_BYTES:
                raise TooLargeError
            return message

        async def careful(message: Message) -> None:
            nonlocal status, answered
            if message["type"] == "http.response.start":
                answered = True
                status = message["status"]
                message["headers"] = [*message["headers"], *HEADERS]
            await send(message)

        declared = headers.get(b"content-length", b"0")
        try:
            if not declared.isdigit() or int(declared) > MAX_BODY_BYTES:
                await _plain(careful, 413, TOO_LARGE)
            elif scope["method"] not in {"GET", "HEAD", "OPTIONS"} and headers.get(
                b"sec-fetch-site", b"same-origin"
            ) not in {b"same-origin", b"none"}:
                await _plain(careful, 403, "this page of another site may not write here")
            else:
                await self.app(scope, limited, careful)
        except Exception:
            # Answered here and not further out, so that this answer carries the headers too.
            if not answered:
                await _plain(careful, 500, "the service failed; nothing was saved")
            raise
        finally:
            logger.info(
                "request",
                id=uuid4().hex[:12],
                method=scope["method"],
                route=getattr(scope.get("route"), "path", "none"),
                status=status,
                ms=round((time.perf_counter() - started) * 1000, 1),
            )


async def _plain(send: Send, status: int, text: str) -> None:
    body = text.encode()
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [
                (b"content-type", b"text/plain; charset=utf-8"),
                (b"content-length", str(len(body)).encode()),
            ],
        }
    )
    await send({"type": "http.response.body", "body": body})
