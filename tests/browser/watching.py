"""What every page has to be, and what a browser says when it is not."""

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page

WAIT_MS = 15_000
PLANNED_WITHIN_MS = 240_000
"""How long a search of a few seconds, in a process of its own, may take on a busy machine."""


@dataclass(frozen=True)
class Size:
    """A screen."""

    name: str
    width: int
    height: int
    touch: bool = False


PHONE = Size("phone", 390, 844, touch=True)
DESK = Size("desk", 1440, 900)
SIZES = (PHONE, DESK)


@contextmanager
def open_context(
    browser: Browser, size: Size, address: str, **more: Any
) -> Iterator[BrowserContext]:
    """A context of ``size`` whose pages open below ``address``."""
    context = browser.new_context(
        base_url=address,
        viewport={"width": size.width, "height": size.height},
        has_touch=size.touch,
        locale="en-GB",
        timezone_id="America/New_York",
        **more,
    )
    context.set_default_timeout(WAIT_MS)
    try:
        yield context
    finally:
        context.close()


class Complaints:
    """Errors of scripts, of the console and of the content security policy."""

    def __init__(self) -> None:
        self._found: list[str] = []
        self._expected: list[re.Pattern[str]] = []
        self._expected_words: set[str] = set()

    def watch(self, page: Page) -> None:
        """Listen to ``page``."""
        page.on("pageerror", lambda error: self._found.append(f"{page.url}: {error}"))
        page.on("console", self._heard)

    def expect(self, address: str) -> None:
        """Let the browser report that an address matching ``address`` answered with an error."""
        self._expected.append(re.compile(address))

    def expect_words(self, words: str) -> None:
        """Let the browser say exactly ``words``, where it names no address with them."""
        self._expected_words.add(words)

    def _heard(self, message: ConsoleMessage) -> None:
        if message.type not in {"error", "warning"}:
            return
        if message.text in self._expected_words:
            return
        source = message.location.get("url", "")
        if message.text.startswith("Failed to load resource") and any(
            one.search(source) for one in self._expected
        ):
            return
        self._found.append(f"{source}: {message.text}")

    def assert_none(self) -> None:
        """Fail when anything was heard that was not expected."""
        assert not self._found, "the browser complained:\n" + "\n".join(self._found)


FAULTS = """() => {
  const faults = [];
  const root = document.documentElement;
  if (root.scrollWidth > innerWidth) {
    const wide = [...document.querySelectorAll("main *")]
      .filter((one) => one.getBoundingClientRect().right > innerWidth + 1)
      .slice(0, 3)
      .map((one) => `${one.tagName.toLowerCase()}.${one.className}`);
    faults.push(`scrolls sideways: ${root.scrollWidth} px on ${innerWidth} px, by ${wide}`);
  }
  const headings = document.querySelectorAll("h1").length;
  if (headings !== 1) faults.push(`has ${headings} headings of the first level`);
  const ids = [...document.querySelectorAll("[id]")].map((one) => one.id);
  for (const id of new Set(ids.filter((one, place) => ids.indexOf(one) !== place)))
    faults.push(`has the id "${id}" more than once`);
  for (const one of document.querySelectorAll("input:not([type=hidden]), select, textarea")) {
    const named = one.labels?.length || one.ariaLabel || one.getAttribute("aria-labelledby");
    if (!named) faults.push(`has a field without a label: ${one.name || one.id}`);
  }
  for (const one of document.querySelectorAll("[aria-describedby]"))
    for (const id of one.getAttribute("aria-describedby").split(/\\s+/))
      if (!document.getElementById(id)) faults.push(`describes a field by "${id}", not there`);
  for (const one of document.querySelectorAll("img"))
    if (one.getAttribute("alt") === null) faults.push(`has a picture without words: ${one.src}`);
  return faults;
}"""


def faults_of(page: Page) -> list[str]:
    """What is wrong with the page as it stands, whatever it is about."""
    page.wait_for_load_state()
    found: list[str] = page.evaluate(FAULTS)
    return [f"{page.url} {one}" for one in found]


def on_each(page: Page, screens: Iterable[Size]) -> Iterator[Size]:
    """Show the page as it stands on each of ``screens`` in turn, and then on its own again."""
    own = page.viewport_size
    for screen in screens:
        page.set_viewport_size({"width": screen.width, "height": screen.height})
        yield screen
    if own is not None:
        page.set_viewport_size(own)


def assert_sound(page: Page) -> None:
    """No sideways scroll, one h1, every field labelled, every id once."""
    faults = faults_of(page)
    assert not faults, "\n".join(faults)
