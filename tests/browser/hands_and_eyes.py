"""What a gloved hand and an eye in glare need of a screen of the crew's app.

Text keeps 7:1 whatever its size, which is stricter than WCAG 2.2, success criterion 1.4.6 (AAA:
7:1, large text 4.5:1); edges and drawings keep 3:1 (1.4.11); the focus shows and is not covered
(2.4.7, 2.4.11); nothing is dragged only (2.5.7). The size of targets, the gaps, the least size of
letters and the thumb's reach are our own rules, stricter than 2.5.5 (44 px).

Each screen is looked at in several conditions. Reflow (1.4.10) is defined at 320 CSS px, and text
has to bear 200 % (1.4.4): so 320 px with the browser's own letters at twice their size, which is
what a phone's setting for text does. A phone of 390 px zoomed to 200 % has 195 CSS px, beyond
what 1.4.10 asks; it is held all the same. With letters smaller than usual a target that is measured
in letters would shrink; that is why that condition is there.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

from playwright.sync_api import Page, expect

from tests.browser.accessibility import barriers_of
from tests.browser.chromium import HERE
from tests.browser.watching import faults_of

USUAL_LETTERS_PX = 16

WANTED = {
    "text": 7,
    "edge": 3,
    "side": 64,
    "scanSide": 96,
    "gap": 8,
    # What starts a scan or takes a photo, by its words; a field for a photo counts by itself.
    "scans": [
        "Tag a piece",
        "Next piece",
        "Take the photo",
        "Use this code",
        "Pack a container",
        "Add a piece by scan",
        "Scan a spare tag",
    ],
    # The title of the loss may be cut in the strip: the list of pieces has the whole of it.
    "shortened": ".strip__loss span",
    # Words that go as soon as the first line of a signature is drawn.
    "overPaper": ".signature__pad",
}


@dataclass(frozen=True)
class Condition:
    """A screen, the size of the browser's letters, and what is asked for beyond the usual."""

    name: str
    width: int
    height: int
    letters: int = USUAL_LETTERS_PX
    reach: bool = False
    focus: bool = False
    axe: bool = False


CONDITIONS = (
    Condition("390 × 844", 390, 844, reach=True),
    Condition("320 × 640", 320, 640, reach=True, focus=True),
    Condition("320 × 640, text at 200 %", 320, 640, letters=32, focus=True, axe=True),
    Condition("320 × 640, text at 75 %", 320, 640, letters=12),
    Condition("390 × 844 at 200 %", 195, 422, focus=True),
)


@cache
def _measure() -> str:
    return (HERE / "hands_and_eyes.js").read_text(encoding="utf-8")


class Looking:
    """Collects what is wrong with the screens of one page, in every condition."""

    def __init__(self, page: Page) -> None:
        size = page.viewport_size
        assert size is not None
        self.seen: list[str] = []
        self.faults: dict[str, list[str]] = {}
        self._page = page
        self._size = size
        self._browser = page.context.new_cdp_session(page)

    def at(self, heading: str, state: str = "") -> None:
        """Look at the screen under ``heading``, which is in ``state``."""
        expect(self._page.get_by_role("heading", level=1)).to_have_text(heading)
        name = f"{heading} ({state})" if state else heading
        self.seen.append(name)
        for condition in CONDITIONS:
            for fault in self._in(condition):
                self.faults.setdefault(fault, []).append(f"{name}, {condition.name}")
        self._show(self._size["width"], self._size["height"], USUAL_LETTERS_PX)

    def after_going(self, heading: str, state: str = "") -> None:
        """Look at a screen that was just gone to: its heading has the focus."""
        expect(self._page.get_by_role("heading", level=1)).to_have_text(heading)
        expect(self._page.get_by_role("heading", level=1)).to_be_focused()
        self.at(heading, state)

    def assert_none(self) -> None:
        """Fail when anything was found."""
        lines = [f"{fault}: {'; '.join(where)}" for fault, where in self.faults.items()]
        assert not lines, f"{len(lines)} faults:\n" + "\n".join(lines)

    def _in(self, condition: Condition) -> list[str]:
        self._show(condition.width, condition.height, condition.letters)
        wanted: dict[str, Any] = {
            **WANTED,
            "reach": condition.reach,
            "focus": condition.focus,
            # Sixteen pixels: small print is lost in glare.
            "letters": min(condition.letters, USUAL_LETTERS_PX),
        }
        self._page.keyboard.press("Shift")  # The focus is shown to who uses the keys.
        found: list[str] = self._page.evaluate(_measure(), wanted)
        found += faults_of(self._page)
        if condition.axe:
            found += barriers_of(self._page, strictly=True)
        return found

    def _show(self, width: int, height: int, letters: int) -> None:
        self._browser.send(
            "Page.setFontSizes", {"fontSizes": {"standard": letters, "fixed": letters}}
        )
        self._page.set_viewport_size({"width": width, "height": height})
        self._page.evaluate(
            "() => new Promise((go) => { scrollTo(0, 0); requestAnimationFrame(() => "
            "requestAnimationFrame(go)); })"
        )
