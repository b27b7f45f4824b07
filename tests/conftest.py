"""What all tests share: a browser, and generated examples that may take the time a loaded machine
needs.
"""

from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings
from playwright.sync_api import Browser, Playwright, expect, sync_playwright

from tests.browser.chromium import launch
from tests.browser.watching import WAIT_MS

settings.register_profile("unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("unhurried")


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """Only one can run in a process, whichever folders its tests are from."""
    expect.set_options(timeout=WAIT_MS)
    with sync_playwright() as found:
        yield found


@pytest.fixture(scope="session")
def chromium(playwright: Playwright) -> Iterator[Browser]:
    """One browser for all tests; each has a context of its own."""
    browser = launch(playwright)
    yield browser
    browser.close()
