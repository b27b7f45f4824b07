"""A spreadsheet comes in by the browser: checked first, taken only on a person's word."""

import re

import pytest
from starlette.testclient import TestClient

from labels.codes import parse_tag
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING, ItemFilter
from service.office import routes
from tests.labels.pdf_reading import page_images, qr_texts
from tests.service.office.seeding import Seeded, seed
from tests.writers import LOSS

PATH = f"/office/losses/{LOSS}/import"
SOUND = "Type,Title,Medium,Room\nPainting,Weir,oil on canvas,Hall\nFrame,,gilt wood,Hall\n"
MIXED = SOUND + "Painting,=HYPERLINK(1),oil on moonbeams,Hall\n"


@pytest.fixture(autouse=True)
def pieces(here: Installation) -> Seeded:
    return seed(here)


def sent(client: TestClient, text: str, **typed: str) -> str:
    answer = client.post(
        PATH, data={"actor": "Nia"} | typed, files={"file": ("crew.csv", text.encode(), "text/csv")}
    )
    assert answer.status_code == 200
    return answer.text


def hidden(page: str) -> dict[str, str]:
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page))


def count(here: Installation) -> int:
    with here.database.read() as session:
        return len(reading.items(session, EVERYTHING, ItemFilter(loss=LOSS)))


def test_a_sound_file_is_taken_on_confirmation(client: TestClient, here: Installation) -> None:
    assert client.get(PATH).status_code == 200
    before = count(here)
    page = sent(client, SOUND)
    assert "Take in 2 pieces" in page
    assert count(here) == before

    done = client.post(f"{PATH}/confirm", data=hidden(page))
    assert done.status_code == 303
    assert count(here) == before + 2
    assert "2 pieces were taken in" in client.get(done.headers["location"]).text

    again = client.post(f"{PATH}/confirm", data=hidden(sent(client, SOUND)))
    assert "taken=0" in again.headers["location"]
    assert "already=2" in again.headers["location"]
    assert count(here) == before + 2


def test_the_tags_of_what_came_by_spreadsheet_are_printed(
    client: TestClient, here: Installation
) -> None:
    path = f"/office/losses/{LOSS}/tags.pdf"
    assert client.get(path, params={"layout": "a4-3x8"}).status_code == 404
    client.post(f"{PATH}/confirm", data=hidden(sent(client, SOUND)))
    assert f'action="{path}"' in client.get(f"/office/losses/{LOSS}").text
    printed = client.get(path, params={"layout": "a4-3x8"})
    read = {text for image in page_images(printed.content) for text in qr_texts(image)}
    with here.database.read() as session:
        items = reading.items(session, EVERYTHING, ItemFilter(loss=LOSS))
    came = {item.tag for item in items if item.title in {"Weir", ""} and not item.parent}
    assert {parse_tag(text) for text in read} == came
    assert client.get(path, params={"layout": "papyrus"}).status_code == 422


def test_problems_are_listed_and_the_sound_rows_may_be_taken(
    client: TestClient, here: Installation
) -> None:
    before = count(here)
    page = sent(client, MIXED)
    assert "Row&nbsp;4" in page
    assert "moonbeams" in page
    assert "Take in only the 2 sound rows" in page
    whole = client.post(f"{PATH}/confirm", data=hidden(page) | {"partial": ""})
    assert whole.status_code == 422
    assert count(here) == before

    done = client.post(f"{PATH}/confirm", data=hidden(page))
    assert "left=1" in done.headers["location"]
    assert count(here) == before + 2


def test_every_problem_as_csv_that_no_spreadsheet_runs(client: TestClient) -> None:
    page = sent(client, 'Type,Title,Medium\nPainting,A,"=cmd|x"\n')
    link = re.search(r'href="([^"]+problems\.csv[^"]+)"', page)
    assert link is not None
    answer = client.get(link[1].replace("&amp;", "&"))
    assert answer.status_code == 200
    lines = answer.text.splitlines()
    assert lines[0] == "row,column,value,mend"
    assert '"\'=cmd|x"' in lines[1]


@pytest.mark.parametrize(
    ("data", "typed", "field", "mend"),
    [
        (b"", {}, "file", "choose a CSV file"),
        (b"colour,smell\nred,rose\n", {}, "file", "no known heading"),
        (b"PK\x03\x04", {}, "file", "workbook"),
        (SOUND.encode(), {"actor": " "}, "actor", "say who you are"),
        (SOUND.encode(), {"currency": "quid"}, "currency", "code of three letters"),
    ],
)
def test_what_cannot_be_read_is_said_beside_its_field(
    client: TestClient, data: bytes, typed: dict[str, str], field: str, mend: str
) -> None:
    answer = client.post(
        PATH, data={"actor": "Nia Frost"} | typed, files={"file": ("crew.csv", data, "text/csv")}
    )
    assert answer.status_code == 422
    error = re.search(rf'id="{field}-error">(.*?)</p>', answer.text, re.DOTALL)
    assert error is not None
    assert mend in error[1]
    if "actor" not in typed:
        assert 'value="Nia Frost"' in answer.text


def test_a_file_too_long_for_a_browser_is_left_to_the_command_line(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(routes, "MOST_ROWS", 1)
    page = sent(client, SOUND)
    assert f"lagan import FILE.csv --loss {LOSS}" in page
    assert "/confirm" not in page


def test_a_file_name_cannot_lead_out_of_its_folder(client: TestClient, here: Installation) -> None:
    page = sent(client, SOUND)
    typed = hidden(page) | {"name": "../../etc/passwd"}
    assert client.post(f"{PATH}/confirm", data=typed).status_code == 303
    typed = hidden(page) | {"digest": "0" * 64}
    assert client.post(f"{PATH}/confirm", data=typed).status_code == 404
