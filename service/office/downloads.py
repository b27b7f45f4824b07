"""Files made on request: written beside the database's own files first, then sent and removed."""

from collections.abc import Callable
from pathlib import Path
from tempfile import NamedTemporaryFile

from fastapi.responses import FileResponse
from starlette.background import BackgroundTask

from labels.paper import PageSize
from service.installation import Installation
from service.log.custody import write_bundle
from service.log.reading import Scope
from service.reports.issue import (
    InventoryFormat,
    NotFoundError,
    inventory_from,
    loss_within,
    write_inventory,
)
from shared.events import utc_text


def sent_file(write: Callable[[Path], object], name: str, media_type: str) -> FileResponse:
    """What ``write`` makes, as a download called ``name``. A failure leaves no file behind."""
    with NamedTemporaryFile(prefix="lagan-", delete=False) as made:
        path = Path(made.name)
    try:
        write(path)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return FileResponse(
        path, media_type=media_type, filename=name, background=BackgroundTask(path.unlink)
    )


def inventory_file(
    here: Installation,
    scope: Scope,
    loss_id: str,
    form: InventoryFormat,
    *,
    prepared_by: str,
    page_size: PageSize = PageSize.A4,
) -> FileResponse:
    """The inventory as a download. ``NotFoundError`` when the loss is not within ``scope``."""
    document = inventory_from(here, scope, loss_id, prepared_by=prepared_by)

    def write(path: Path) -> None:
        with path.open("wb") as target:
            write_inventory(document, form, target, here.photos, page_size=page_size)

    name = "-".join(part for part in ("inventory", loss_id, document.claim) if part)
    return sent_file(write, f"{name}.{form.value}", form.media_type)


def covers_whole_loss(here: Installation, scope: Scope, loss_id: str) -> bool:
    """Whether ``scope`` reaches every claim of the loss, as the custody bundle does.

    ``NotFoundError`` when the loss is not within ``scope`` at all.
    """
    with here.database.read() as session:
        seen = loss_within(session, scope, loss_id)
        whole = loss_within(session, Scope(losses=scope.losses), loss_id)
    return seen.claims == whole.claims


def custody_file(here: Installation, scope: Scope, loss_id: str) -> FileResponse:
    """The custody bundle as a download.

    Raises ``NotFoundError`` when the loss, or one of its claims, is not within ``scope``: the
    bundle holds every event of the loss.
    """
    if not covers_whole_loss(here, scope, loss_id):
        raise NotFoundError(
            f"the custody bundle of loss {loss_id} covers other claims too; ask the office for it"
        )

    def write(path: Path) -> None:
        with here.database.read() as session:
            write_bundle(session, here.log.signer, loss_id, utc_text(here.now()), path)

    return sent_file(write, f"custody-{loss_id}.zip", "application/zip")
