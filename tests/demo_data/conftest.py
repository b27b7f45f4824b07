"""The scenario, built once for all tests here."""

import pytest

from demo_data.scenario import Scenario, build


@pytest.fixture(scope="session")
def scenario() -> Scenario:
    """The whole scenario without photos."""
    return build(1, pictures=False)


@pytest.fixture(scope="session")
def pictured() -> Scenario:
    """A smaller scenario with its photos."""
    return build(1, fire_pieces=60, flood_pieces=56)
