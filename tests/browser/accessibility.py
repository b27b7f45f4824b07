"""What the accessibility checker axe-core says of a page.

Its rules are those of WCAG 2 (W3C) and of good practice. Of its four degrees the gravest two count;
strictly, all of them, and the rules it leaves out by itself for targets and for contrast.
"""

from functools import cache

from playwright.sync_api import Page

from tests.browser.chromium import HERE
from tests.browser.watching import assert_sound

AXE = HERE / "node_modules" / "axe-core" / "axe.min.js"

CHECK = """async (strictly) => {
  const more = { "target-size": { enabled: true }, "color-contrast-enhanced": { enabled: true } };
  const found = await axe.run(document, {
    resultTypes: ["violations"],
    rules: strictly ? more : {},
  });
  return found.violations
    .filter((one) => strictly || one.impact === "serious" || one.impact === "critical")
    .map((one) => {
      const where = one.nodes.slice(0, 3).map((at) => at.html.slice(0, 160));
      return `${one.id}: ${one.help}: ${where}`;
    });
}"""


@cache
def _axe() -> str:
    try:
        return AXE.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise RuntimeError("axe-core is not installed; `make test` brings it") from error


def barriers_of(page: Page, *, strictly: bool = False) -> list[str]:
    """Serious and critical violations on the page as it stands; ``strictly``, all violations."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(_axe())
    found: list[str] = page.evaluate(CHECK, strictly)
    return [f"{page.url} {one}" for one in found]


def assert_in_order(page: Page) -> None:
    """The page is sound and bars nobody."""
    assert_sound(page)
    assert not barriers_of(page)
