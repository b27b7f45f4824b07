"""Invented sensors of the small facility, and what they send, for the tests."""

import re
from typing import Any

from httpx2 import Response
from starlette.testclient import TestClient

from service.facility.sensors import make_token
from service.installation import Installation
from shared import events as ev
from tests.service.facility.house import LEAD, say

DUE = "2031-12-31T23:59:59Z"
DRY, BOX_GAS, BOX_AIR = "dry-1", "box-gas", "box-air"


def place(here: Installation, sensor: str, station: str, *measures: str, **facts: Any) -> None:
    """Make a sensor known."""
    body = {
        "sensor": sensor,
        "name": f"Invented {sensor}",
        "station": station,
        "measures": measures,
        "calibrated_until": DUE,
    }
    say(here, ev.SensorPlaced.model_validate(body | facts))


def equip(here: Installation) -> str:
    """A climate sensor in the drying room, two sensors low in the box chamber, and their token."""
    place(here, DRY, "dry", "temperature", "humidity")
    place(here, BOX_GAS, "box", "gas", zone="low", gas="ozone", least_seen="0.005")
    place(here, BOX_AIR, "box", "temperature", "humidity", "oxygen", zone="low")
    return make_token(here, name="Gateway", sensors=[DRY, BOX_GAS, BOX_AIR], actor=LEAD).secret


def read(sensor: str = DRY, value: object = 50, unit: str = "%RH", at: object = None) -> Any:
    """One reading as a sensor sends it; by default an hour and five minutes into the test's day."""
    return {"sensor": sensor, "time": at or "2031-05-06T09:55:00Z", "value": value, "unit": unit}


def push(client: TestClient, secret: str, *readings: Any) -> list[dict[str, Any]]:
    """Send readings as JSON; the answer to each."""
    answer = client.post("/sensors/readings", json={"readings": readings}, headers=bearer(secret))
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["readings"]
    return found


def push_csv(client: TestClient, secret: str, text: str | bytes) -> Response:
    """Send a table of readings."""
    head = {"content-type": "text/csv; charset=utf-8"}
    return client.post("/sensors/readings", content=text, headers=bearer(secret) | head)


def bearer(secret: str) -> dict[str, str]:
    """The head that carries a token."""
    return {"authorization": f"Bearer {secret}"}


def shown_secret(page: str) -> str:
    """The token that a page shows."""
    found = re.search(r'<code class="invitation__address">([\w-]{43})</code>', page)
    assert found is not None
    return found[1]
