"""Second tags of a loss, in one PDF for the office's printer."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, HTTPException, Query, Response
from pydantic import BaseModel

from service.crew.routes import RefPath
from service.facility.second_tags import NothingToPrintError, TagsWanted, write_second_tags
from service.log.routes import Here
from service.office.downloads import sent_file
from shared.records import Item
from shared.vocabulary import Band

router = APIRouter(tags=["office"], include_in_schema=False)


class SecondTagsForm(BaseModel):
    """Which pieces, and the paper, as chosen."""

    layout: str
    room: str = ""
    container: str = ""
    band: str = ""
    first_label: int = 1


def choices(items: Sequence[Item]) -> dict[str, list[tuple[str, str]]]:
    """Rooms, containers and bands to choose from; the first of each picks all."""
    kept = [item for item in items if item.returned_to is None]
    rooms = {item.found.room.strip().casefold(): item.found.room.strip() for item in kept}
    containers = {item.container for item in kept if item.container}
    return {
        "rooms": [
            ("", "Every room"),
            *((one, one) for one in sorted(filter(None, rooms.values()))),
        ],
        "containers": [("", "Every container"), *((one, one) for one in sorted(containers))],
        "bands": [("", "However soon"), *((band.value, band.label) for band in Band)],
    }


@router.get("/office/losses/{loss_id}/second-tags.pdf")
def second_tags_of_loss(
    loss_id: RefPath, here: Here, form: Annotated[SecondTagsForm, Query()]
) -> Response:
    """Hours left, what first, what never and the cautions of many pieces, most urgent first."""
    try:
        band = Band(form.band) if form.band else None
    except ValueError as error:
        bands = ", ".join(band.value for band in Band)
        raise HTTPException(422, f"band: choose one of {bands}, or none for all") from error
    wanted = TagsWanted(loss_id, form.room, form.container, band)
    try:
        return sent_file(
            lambda path: write_second_tags(
                here,
                wanted,
                path,
                form.layout,
                base_url=here.settings.base_url,
                first_label=form.first_label,
            ),
            f"second-tags-{loss_id}.pdf",
            "application/pdf",
        )
    except NothingToPrintError as error:
        raise HTTPException(404, str(error)) from error
    except ValueError as error:
        raise HTTPException(422, str(error)) from error
