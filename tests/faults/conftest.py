"""The real service with one open loss and no piece yet, and a real browser before it."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext

from service.installation import Installation
from service.settings import Settings
from shared import events as ev
from shared.vocabulary import Hazard, Peril, Role
from tests.browser.serving import Clock, served
from tests.browser.watching import PHONE, open_context
from tests.faults.phone import LOSS
from tests.writers import START


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder needs the browser."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture
def here(tmp_path: Path) -> Installation:
    """An installation with one loss."""
    return one_loss(tmp_path / "installation")


def one_loss(folder: Path) -> Installation:
    """An installation in ``folder`` with one loss; whoever serves it closes it."""
    found = Installation(Settings(folder=folder), now=Clock(START))
    opened = ev.LossOpened(
        title="Invented salt store",
        site="9 Invented Hard",
        zone="Europe/Lisbon",
        peril=Peril.FLOOD,
        happened_at=START - timedelta(hours=8),
        wet_since=START - timedelta(hours=8),
        hazards=(Hazard.STANDING_WATER,),
    )
    found.log.say(opened, actor="Office (invented)", role=Role.OFFICE, loss=LOSS)
    return found


@pytest.fixture
def address(here: Installation) -> Iterator[str]:
    """Where it is served."""
    with served(here) as found:
        yield found


@pytest.fixture
def context(chromium: Browser, address: str) -> Iterator[BrowserContext]:
    """One phone.

    Without the service worker: it would share the process of a page that is to be killed, and keep
    that process and its open transaction alive.
    """
    with open_context(chromium, PHONE, address, service_workers="block") as found:
        yield found
