"""An installation in a folder of its own, with a clock that the test moves."""

import logging
import shutil
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
import structlog
from starlette.testclient import TestClient

from service.installation import Installation
from service.settings import Settings
from tests.writers import START


class Clock:
    """The present moment, moved by hand."""

    def __init__(self) -> None:
        self.at = START + timedelta(hours=1)

    def __call__(self) -> datetime:
        return self.at

    def forward(self, **by: float) -> datetime:
        """Let time pass."""
        self.at += timedelta(**by)
        return self.at


@pytest.fixture(autouse=True)
def quiet_logs() -> None:
    """Only what is worse than a warning is printed."""
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.ERROR))


@pytest.fixture
def clock() -> Clock:
    """A clock at a fixed moment."""
    return Clock()


@pytest.fixture(scope="session")
def blank_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty database with every migration applied, to be copied: applying them takes a while."""
    settings = Settings(folder=tmp_path_factory.mktemp("blank"))
    Installation(settings).close()
    return settings.database


@pytest.fixture
def here(tmp_path: Path, clock: Clock, blank_database: Path) -> Iterator[Installation]:
    """A fresh installation."""
    settings = Settings(folder=tmp_path / "data")
    settings.folder.mkdir()
    shutil.copy(blank_database, settings.database)
    installation = Installation(settings, now=clock)
    yield installation
    installation.close()


@pytest.fixture
def client(here: Installation) -> Iterator[TestClient]:
    """A browser's view of it, without following redirects."""
    from service.app import create_app

    with TestClient(create_app(here), follow_redirects=False) as found:
        yield found
