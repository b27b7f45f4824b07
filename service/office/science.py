"""Every figure that Lagan reckons with, for whoever wants to check it: page, PDF and CSV."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import FileResponse, HTMLResponse
from pydantic import BaseModel

from labels.paper import PageSize
from service.installation import Installation
from service.log import reading
from service.log.routes import Here
from service.office.downloads import sent_file
from service.pages import page
from service.reports.science import MARK_WORDS, Entry, Group, ScienceDocument, science_document
from service.reports.science_pdf import INTRODUCTION, TITLE, write_science_pdf
from shared.quantities import Mark

router = APIRouter(tags=["office"], include_in_schema=False)

PAGE: Final = 60
CHANGED: Final = "changed"
"""Asks for the entries that the facility changed, in place of a mark."""


class Wanted(BaseModel):
    """Which entries to show; what is empty picks all."""

    group: str = ""
    mark: str = ""
    q: str = ""
    page: int = 1

    def query(self, **changes: object) -> str:
        """The part of an address that asks for this again, with ``changes``."""
        asked = self.model_dump(exclude={"page"}) | changes
        return urlencode({name: value for name, value in asked.items() if value != ""})

    @property
    def narrows(self) -> bool:
        """Whether anything is asked for."""
        return bool(self.group or self.mark or self.q.strip())

    def picks(self, group: Group, entry: Entry) -> bool:
        """Whether an entry is asked for."""
        return (
            self.group in ("", group.key)
            and (
                self.mark in ("", entry.mark.name.lower())
                or (self.mark == CHANGED and bool(entry.changed_by))
            )
            and _holds(group, entry, self.q)
        )


def _holds(group: Group, entry: Entry, words: str) -> bool:
    text = " ".join(
        (
            *(group.title, entry.name, entry.key, entry.source, entry.changed_by),
            *(f"{one.what} {one.text}" for one in entry.figures),
        )
    ).casefold()
    return all(word in text for word in words.casefold().split())


@dataclass(frozen=True)
class Shown:
    """The entries of one group that stand on a page."""

    group: Group
    entries: Sequence[Entry]


def page_of(document: ScienceDocument, wanted: Wanted) -> tuple[list[Shown], int, int, int]:
    """What was asked for, one page of it: the groups, how many entries, page and pages."""
    found = [
        (group, entry)
        for group in document.groups
        for entry in group.entries
        if wanted.picks(group, entry)
    ]
    pages = max(1, math.ceil(len(found) / PAGE))
    number = min(max(wanted.page, 1), pages)
    by_group: dict[str, tuple[Group, list[Entry]]] = {}
    for group, entry in found[(number - 1) * PAGE : number * PAGE]:
        by_group.setdefault(group.key, (group, []))[1].append(entry)
    shown = [Shown(group, entries) for group, entries in by_group.values()]
    return shown, len(found), number, pages


def _document(here: Installation) -> ScienceDocument:
    return science_document(here.facts)


@router.get("/science")
def science(request: Request, here: Here, wanted: Annotated[Wanted, Query()]) -> HTMLResponse:
    """All figures with source and mark; the facility's own changes first."""
    document = _document(here)
    shown, found, number, pages = page_of(document, wanted)
    return page(
        request,
        "science.html",
        {
            "title": TITLE,
            "introduction": INTRODUCTION,
            "document": document,
            "wanted": wanted,
            "shown": shown,
            "found": found,
            "number": number,
            "pages": pages,
            "mark_words": MARK_WORDS,
            "marks": [(mark.name.lower(), words) for mark, words in MARK_WORDS.items()],
            "changed": CHANGED,
            "marks_of": {
                group.key: [group.marks.get(mark, 0) for mark in Mark] for group in document.groups
            },
        },
    )


@router.get("/science.pdf")
def science_pdf(here: Here, paper: PageSize = PageSize.A4) -> FileResponse:
    """The same on paper."""
    with here.database.read() as session:
        facility = reading.facility(session).facility
    zone = facility.zone if facility else "UTC"

    def write(path: Path) -> None:
        write_science_pdf(_document(here), path, prepared_at=here.now(), zone=zone, page_size=paper)

    return sent_file(write, "figures-and-sources.pdf", "application/pdf")


@router.get("/science.csv")
def science_csv(here: Here) -> Response:
    """The same as a table; its SHA-256 stands on the page."""
    return Response(
        _document(here).csv_bytes,
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": 'attachment; filename="figures-and-sources.csv"'},
    )
