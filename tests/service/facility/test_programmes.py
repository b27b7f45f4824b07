"""Programmes drawn up, signed, renewed and refused on their pages. All figures are invented."""

from datetime import date
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from PIL import Image
from starlette.testclient import TestClient

from service.facility.programme_forms import described, read_programme, typed_of
from service.facility.programmes import above_published, denied_materials
from service.installation import Installation
from service.log import reading
from shared.facts import facts
from shared.programmes import Programme, State, standing_of
from shared.vocabulary import Agent, Material
from tests.service.conftest import Clock
from tests.service.facility.house import AIR, FACILITY, GAS, furnish

COMPLETE = GAS.model_copy(
    update={"exclusions": tuple(denied_materials(Agent.OZONE, facts())), "id": "night-gas"}
)


@pytest.fixture(autouse=True)
def _furnished(here: Installation) -> None:
    furnish(here)


def form(programme: Programme = COMPLETE, **changes: str | list[str]) -> dict[str, list[str]]:
    """The form as it is typed for a programme, with changes."""
    lists = {name: [one] if isinstance(one, str) else one for name, one in changes.items()}
    return typed_of(programme) | lists


def on_file(here: Installation, programme: str = "night-gas") -> list[Programme]:
    with here.database.read() as session:
        return [one for one in reading.facility(session).programmes if one.id == programme]


@pytest.mark.parametrize("programme", [COMPLETE, AIR])
def test_a_form_typed_from_a_programme_gives_that_programme(programme: Programme) -> None:
    assert read_programme(typed_of(programme), programme.version, facts()) == (programme, [])


def test_no_figure_is_proposed(client: TestClient) -> None:
    page = client.get("/facility/programmes/new").text
    assert "Lagan proposes no dose, concentration or time." in page
    assert "placeholder" not in page
    for name in ("concentration", "dose", "temperature", "rh", "run"):
        for end in ("low", "high"):
            field = page.split(f'name="{name}_{end}"')[1].split(">")[0]
            assert 'value=""' in field
    assert 'value=""' in page.split('name="limit_ppm"')[1].split(">")[0]


def test_a_programme_is_signed_and_its_next_version_shows_what_changed(
    client: TestClient, here: Installation
) -> None:
    assert client.post("/facility/programmes/new", data=form()).status_code == 303
    assert on_file(here) == [COMPLETE]
    kept = client.get("/facility/programmes/night-gas/new").text
    assert 'value="night-gas"' not in kept
    client.post("/facility/programmes/night-gas/new", data=form(dose_high="8"))
    answer = client.get("/facility/programmes/night-gas")
    assert [one.version for one in on_file(here)] == [1, 2]
    assert "1 to 9 ppm·h" in answer.text
    assert "1 to 8 ppm·h" in answer.text
    with here.database.read() as session:
        book = reading.facility(session)
    assert [(one.version, one.signed_by) for one in book.signatures if one.programme == GAS.id] == [
        (1, GAS.signed_by)
    ]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"targets": ["insects"]}, "does not serve against insects"),
        ({"exclusions": []}, "exclude them by name"),
        ({"licence_no": "LIC-9"}, "no licensed person here holds LIC-9"),
        ({"licence_no": ""}, "a gas programme needs the signer"),
        ({"expires": "2020-01-01"}, "is past"),
        ({"expires": "soon"}, "give a day"),
        ({"dose_low": "10"}, "Lowest dose: 10 is above the highest, 9"),
        ({"dose_high": "nine"}, "is no number"),
        ({"dose_high": ""}, "Highest dose: fill this in"),
        ({"dose_high": "Infinity"}, "is no number"),
        ({"temperature_unit": ""}, "choose °C or °F"),
        ({"rh_high": "140"}, "less than or equal to 1"),
        ({"cited_from": ""}, "name the label, code or rule"),
        ({"compare": ""}, "Compare"),
        ({"id": "gas"}, "gas is taken"),
        ({"id": "Not an id"}, "Id"),
        ({"agent": "steam"}, "Agent: choose one"),
        ({"targets": []}, "tick at least one"),
        ({"signed_by": "Somebody Else"}, "who must sign"),
    ],
)
def test_what_is_wrong_is_named_and_nothing_typed_is_lost(
    client: TestClient, here: Installation, changes: dict[str, Any], words: str
) -> None:
    answer = client.post(
        "/facility/programmes/new", data=form(COMPLETE, **changes, note="kept <note>")
    )
    assert answer.status_code == 422
    assert words in answer.text
    assert "kept &lt;note&gt;" in answer.text
    assert not on_file(here)


def test_degrees_fahrenheit_are_kept_as_celsius(client: TestClient, here: Installation) -> None:
    typed = form(temperature_unit="F", temperature_low="59", temperature_high="77")
    client.post("/facility/programmes/new", data=typed)
    assert on_file(here)[0].temperature_c == (15.0, 25.0)


def test_the_document_outlives_a_refusal_and_is_sealed_by_its_digest(
    client: TestClient, here: Installation
) -> None:
    picture = BytesIO()
    Image.new("RGB", (8, 8)).save(picture, "PNG")
    files = {"file": ("label.png", picture.getvalue(), "image/png")}
    refused = client.post("/facility/programmes/new", data=form(expires=""), files=files)
    digest = refused.text.split('name="document" value="')[1][:64]
    client.post("/facility/programmes/new", data=form(document=digest))
    sent = client.get(f"/facility/programmes/documents/{digest}")
    assert sent.content == picture.getvalue()
    assert sent.headers["content-type"] == "image/png"
    assert client.get(f"/facility/programmes/documents/{'0' * 64}").status_code == 404


def test_a_document_that_is_neither_is_refused(client: TestClient, here: Installation) -> None:
    files = {"file": ("x.html", b"<script>", "text/html")}
    answer = client.post("/facility/programmes/new", data=form(), files=files)
    assert "neither a PDF nor a picture" in answer.text
    assert not on_file(here)


def test_the_state_is_said_in_words(client: TestClient, clock: Clock) -> None:
    assert "In force until 2031-12-31" in client.get("/facility/programmes/gas").text
    clock.at = clock.at.replace(year=2031, month=12, day=20)
    assert "Expires in 11 days" in client.get("/facility/programmes").text
    clock.at = clock.at.replace(year=2032)
    assert "Not to be used: expired on 2031-12-31" in client.get("/facility/programmes").text


@pytest.mark.parametrize(
    ("day", "state"),
    [
        (date(2031, 11, 30), State.IN_FORCE),
        (date(2031, 12, 1), State.EXPIRES_SOON),
        (date(2031, 12, 31), State.EXPIRES_SOON),
        (date(2032, 1, 1), State.EXPIRED),
    ],
)
def test_a_programme_stands_to_its_last_day(day: date, state: State) -> None:
    assert standing_of(GAS, FACILITY, day).state is state


def test_nobodys_licence_makes_a_gas_programme_unusable() -> None:
    assert standing_of(GAS, None, date(2031, 1, 1)).state is State.NOT_LICENSED
    assert standing_of(AIR, None, date(2031, 1, 1)).usable


def test_a_limit_above_a_published_one_is_warned_of_and_not_forbidden() -> None:
    assert GAS.clearance is not None
    high = GAS.model_copy(
        update={"clearance": GAS.clearance.model_copy(update={"limit_ppm": Decimal(1)})}
    )
    # 29 CFR 1910.1000 Table Z-1: ozone, 0.1 ppm.
    assert any("0.1 ppm (OSHA PEL TWA)" in one for one in above_published(high, facts()))
    low = GAS.clearance.model_copy(update={"limit_ppm": Decimal("0.01")})
    assert not above_published(GAS.model_copy(update={"clearance": low}), facts())


def test_every_field_is_said_in_words() -> None:
    said = dict(described(GAS))
    assert said["Never with"] == Material.MARBLE_ALABASTER.label
    assert said["Relative humidity"] == "30 to 60 %"
    assert said["Whole run"] == "10 to 20 h"


def test_a_programme_that_is_not_there(client: TestClient) -> None:
    assert client.get("/facility/programmes/nothing").status_code == 404
    assert client.get("/facility/programmes/nothing/new").status_code == 404
