"""Without a network the phone says by itself what moves first, in the service's own words."""

from dataclasses import dataclass

from playwright.sync_api import Page, expect

from labels.codes import new_tag
from service.installation import Installation
from shared.vocabulary import Damage, Extent, Material, ObjectType
from tests.browser.seeding import Seed
from tests.browser.serving import Clock
from tests.browser.test_crew import choose, enter, photo, take_photo, type_tag
from tests.browser.watching import Complaints, assert_sound

__all__ = ["photo"]

BY_THE_PHONE = "Worked out on this phone"


@dataclass(frozen=True)
class Ruling:
    """What the page of a piece says of it."""

    band: str
    first: list[str]
    never: list[str]
    factors: list[str]
    freezing: str


def ruling_on(page: Page) -> Ruling:
    return Ruling(
        band=page.locator(".ruling .band").inner_text(),
        first=page.locator(".first").all_inner_texts(),
        never=page.locator(".nevers li").all_inner_texts(),
        factors=page.locator(".whys li").all_inner_texts(),
        freezing=page.locator(".whys + p").inner_text(),
    )


def test_the_phone_rules_on_a_piece_without_a_network_as_the_service_does(
    page: Page,
    seeded: Seed,
    here: Installation,
    photo: bytes,
    clock: Clock,
    complaints: Complaints,
) -> None:
    tag = new_tag()
    complaints.expect("/api/|/log/|/photos/")
    page.clock.set_fixed_time(clock())
    with page.expect_response("**/api/facts"):
        enter(page, seeded.fire)
    page.context.set_offline(True)
    type_tag(page, tag)
    take_photo(page, photo)
    choose(page, "What is it?", ObjectType.PAINTING.label)
    choose(page, "What is it made of?", Material.OIL_CANVAS.label)
    page.get_by_role("button", name="Next").click()
    choose(page, "What happened to it?", Damage.SOAKED.label)
    page.get_by_role("button", name=Extent.WIDE.label, exact=True).click()
    page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="Save the piece").click()

    expect(page.get_by_text("Saved on this phone")).to_be_visible()
    notice = page.locator(".notice", has_text=BY_THE_PHONE)
    expect(notice).to_contain_text(f"facts of version {here.facts.version[:12]}")
    expect(page.locator(".ruling .hours__number")).to_be_visible()
    by_phone = ruling_on(page)
    never = here.facts.materials[Material.OIL_CANVAS].never
    assert {f"Never {phrase}" for phrase in never} <= set(by_phone.never)
    assert_sound(page)

    page.get_by_role("link", name="All pieces").click()
    card = page.locator("a.card")
    expect(card.locator(".band")).to_have_text(by_phone.band)
    expect(card).to_contain_text(BY_THE_PHONE.lower())
    assert_sound(page)
    card.click()
    expect(notice).to_be_visible()

    page.context.set_offline(False)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(page.get_by_text("Saved and sent")).to_be_visible()
    expect(notice).to_have_count(0)
    assert ruling_on(page) == by_phone
