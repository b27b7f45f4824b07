"""A network that drops replies, answers with pages of its own, or cuts answers short."""

import random
from collections import Counter

import pytest
from playwright.sync_api import BrowserContext, Route, expect

from service.installation import Installation
from service.log import reading
from tests.faults.arriving import assert_arrived, send_until_empty
from tests.faults.phone import (
    LOSS,
    NOTES,
    assert_unbroken,
    give_work,
    kept_by,
    open_phone,
    pictures,
)

ROUNDS, PIECES = 6, 6
SIGN_IN = "<!doctype html><title>Sign in</title><h1>Accept our terms</h1>"


class BadNetwork:
    """Answers of its own in place of the service's, drawn from a seed."""

    KINDS = (
        ("reply dropped", 0.30),
        ("fault of the server", 0.08),
        ("fault after storing", 0.08),
        ("page of a portal", 0.08),
        ("JSON of a portal", 0.04),
        ("answer cut short", 0.08),
        ("through", 0.34),
    )

    def __init__(self, seed: int) -> None:
        self._chance = random.Random(seed)
        self.seen: Counter[str] = Counter()

    def __call__(self, route: Route) -> None:
        """Answer one request."""
        kinds, shares = zip(*self.KINDS, strict=True)
        kind = self._chance.choices(kinds, shares)[0]
        self.seen[kind] += 1
        if kind == "through":
            route.continue_()
        elif kind == "fault of the server":
            route.fulfill(status=self._chance.choice((500, 502, 503, 511)), body="")
        elif kind == "page of a portal":
            route.fulfill(status=200, content_type="text/html", body=SIGN_IN)
        elif kind == "JSON of a portal":
            route.fulfill(status=200, json={"login": "required"})
        else:
            # These reach the service; only its answer is lost or spoilt on the way back.
            answer = route.fetch()
            if kind == "reply dropped":
                route.abort("connectionreset")
            elif kind == "fault after storing":
                route.fulfill(status=504, body="")
            else:
                text = answer.text()
                route.fulfill(
                    status=answer.status,
                    content_type="application/json",
                    body=text[: self._chance.randrange(len(text))],
                )


@pytest.mark.parametrize("seed", [1, 2])
def test_whatever_the_network_does_all_is_stored_once(
    context: BrowserContext, here: Installation, seed: int
) -> None:
    network = BadNetwork(seed)
    for path in ("**/log/events", "**/photos/*", "**/api/devices"):
        context.route(path, network)
    page = open_phone(context)
    drawn = pictures()
    digests: dict[str, str] = {}
    photos: list[bytes] = []
    for number in range(ROUNDS):
        shots = [next(drawn) for _ in range(PIECES)]
        digests |= give_work(page, shots)
        photos += shots
        if number % 2:
            page.reload()  # In the middle of sending.
        send_until_empty(page)
    kept = kept_by(page)
    assert_unbroken(kept)
    assert kept.journal is not None
    assert_arrived(here, kept.journal["device"], digests, photos)
    with here.database.read() as session:
        assert reading.refused(session) == []
    assert set(network.seen) == {kind for kind, _ in BadNetwork.KINDS}
    print(f"\nseed {seed}: {dict(network.seen)}")


PORTAL_ANSWERS = [
    {"login": "required"},
    [{"loss": LOSS}],
    {"loss": {"loss": LOSS, "title": "Accept our terms"}, "cautions": "none"},
    {"version": "1", "tables": {}, "labels": {}, "changed": []},
    {"manifests": [{"manifest": "X"}], "pieces": [], "stations": []},
    "welcome",
    None,
]


def test_json_that_is_not_the_services_is_neither_shown_nor_kept(context: BrowserContext) -> None:
    page = open_phone(context)
    page.reload()  # Reads the person's name.
    page.goto(f"/crew/#/{LOSS}/move")
    expect(page.get_by_role("heading", level=1)).to_have_text("Move pieces")
    kept = [f"loss:{LOSS}", "facts", f"road:{LOSS}"]
    while None in page.evaluate(NOTES, kept):
        page.wait_for_timeout(100)
    page.goto("/crew/#/")
    expect(page.get_by_text("Invented salt store")).to_be_visible()
    kept = ["losses", *kept]
    before = page.evaluate(NOTES, kept)
    answer: list[object] = [None]
    context.route("**/api/**", lambda route: route.fulfill(status=200, json=answer[0]))
    for answer[0] in PORTAL_ANSWERS:
        page.goto("/crew/#/")
        page.reload()
        expect(page.get_by_text("Invented salt store")).to_be_visible()
        page.goto(f"/crew/#/{LOSS}/receive")
        expect(page.get_by_role("heading", level=1)).to_have_text("Receive a load")
        expect(page.locator(".strip__loss")).to_have_text("Invented salt store")
        assert page.evaluate(NOTES, kept) == before
