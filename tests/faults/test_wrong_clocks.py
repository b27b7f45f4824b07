"""Phones whose clocks are wrong by an hour, or by decades, that all tag one piece."""

from contextlib import ExitStack
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlmodel import col, select

from labels.codes import new_tag
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.office import settling
from service.storage.tables import LogRow
from shared import events as ev
from shared.vocabulary import Damage, Material, ObjectType
from tests.browser.test_crew import choose, take_photo, type_tag
from tests.browser.watching import PHONE, open_context
from tests.faults.arriving import assert_arrived, send_until_empty
from tests.faults.phone import LOSS, assert_unbroken, digest_of, kept_by, open_phone, pictures

CLOCKS: dict[str, tuple[datetime | timedelta, ObjectType]] = {
    "an hour ahead": (timedelta(hours=1), ObjectType.PAINTING),
    "an hour behind": (timedelta(hours=-1), ObjectType.SCULPTURE),
    "in 1970": (datetime(1970, 1, 1, 0, 5, tzinfo=UTC), ObjectType.FRAME),
    "in 2099": (datetime(2099, 12, 31, 23, 50, tzinfo=UTC), ObjectType.DECORATIVE),
}


def set_wrong(clock: datetime | timedelta) -> str:
    """A script that makes the clock of a page run from another moment, or off by so much."""
    off = clock - datetime.now(UTC) if isinstance(clock, datetime) else clock
    return f"""{{
      const Right = Date;
      const now = () => Right.now() + {off.total_seconds() * 1000:.0f};
      globalThis.Date = class extends Right {{
        constructor(...given) {{ given.length ? super(...given) : super(now()); }}
        static now() {{ return now(); }}
      }};
    }}"""


def tag_piece(page: Page, tag: str, object_type: ObjectType, photo: bytes) -> None:
    """The crew's loop, as short as it can be."""
    type_tag(page, tag)
    take_photo(page, photo)
    choose(page, "What is it?", object_type.label)
    choose(page, "What is it made of?", Material.OIL_CANVAS.label)
    page.get_by_role("button", name="Next").click()
    choose(page, "What happened to it?", Damage.SOOT_DRY.label)
    page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="Save the piece").click()
    expect(page.get_by_text("Saved on this phone")).to_be_visible()


@pytest.mark.timeout(120)
def test_wrong_clocks_lose_nothing_and_change_no_order(
    chromium: Browser, address: str, here: Installation
) -> None:
    tag = new_tag()
    drawn = pictures()
    with ExitStack() as phones:
        pages: list[Page] = []
        for clock, object_type in CLOCKS.values():
            context = phones.enter_context(open_context(chromium, PHONE, address))
            context.add_init_script(set_wrong(clock))
            page = open_phone(context)
            page.goto(f"/crew/#/{LOSS}/pieces")
            page.reload()
            expect(page.get_by_role("button", name="Tag a piece")).to_be_visible()
            context.set_offline(True)
            tag_piece(page, tag, object_type, next(drawn))
            pages.append(page)
        for page in pages:
            page.context.set_offline(False)
            send_until_empty(page)
        kept = [kept_by(page) for page in pages]

    written: list[ev.Event] = []
    for one in kept:
        assert_unbroken(one)
        assert one.journal is not None
        events = [found["event"] for found in one.events]
        assert_arrived(
            here, one.journal["device"], {event["id"]: digest_of(event) for event in events}, ()
        )
        written += [ev.Event.model_validate(event) for event in events]
    years = {event.device_time[:4] for event in written}
    assert {"1970", "2099"} <= years
    with here.database.read() as session:
        assert reading.refused(session) == []
        item = reading.item(session, EVERYTHING, tag)
        rows = session.exec(select(LogRow).order_by(col(LogRow.position))).all()
    assert item is not None
    assert len(item.photos) == len(CLOCKS)
    conflict = next(one for one in item.conflicts if one.field == settling.TAG_FIELD)
    claims = [one for one in written if one.body["type"] == "item_tagged"]
    assert len(claims) == len(CLOCKS)
    named = str(conflict.model_dump(mode="json"))
    assert all(claim.id in named for claim in claims), named
    # What a phone had seen comes before what it wrote; the rest is decided by device and number.
    in_order = sorted(claims, key=lambda one: (one.clock, one.device, one.sequence))
    told = [one.event for one in item.custody if one.type == "item_tagged"]
    assert told == [one.id for one in in_order]
    assert len({row.id for row in rows}) == len(rows)
