"""The signing key: made once, for its owner only, and missed loudly when it is damaged."""

import stat
from pathlib import Path

import pytest

from service.settings import KEY_FILE, Settings
from shared.ledger import LedgerError


def test_the_key_is_made_once_and_readable_by_its_owner_only(tmp_path: Path) -> None:
    settings = Settings(folder=tmp_path / "new" / "data")
    first = settings.signer()
    assert settings.signer().seed == first.seed
    mode = stat.S_IMODE((settings.folder / KEY_FILE).stat().st_mode)
    assert mode == 0o600


def test_two_installations_have_two_keys(tmp_path: Path) -> None:
    one, two = (Settings(folder=tmp_path / name).signer() for name in ("one", "two"))
    assert one.seed != two.seed
    assert one.name == two.name == Settings.key_name


@pytest.mark.parametrize(
    "damage",
    [b"", b"lagan.local", b"lagan.local zz", b"lagan.local abcd\n", b"\xff\xfe\x00", b"a b c"],
    ids=["empty", "no seed", "no hex", "too short", "no text", "too many words"],
)
def test_a_damaged_key_is_not_replaced_in_silence(tmp_path: Path, damage: bytes) -> None:
    settings = Settings(folder=tmp_path)
    settings.signer()
    (tmp_path / KEY_FILE).write_bytes(damage)
    with pytest.raises(LedgerError, match=r"is damaged .* restore it from a backup"):
        settings.signer()
    assert (tmp_path / KEY_FILE).read_bytes() == damage


def test_everything_lies_in_the_folder(tmp_path: Path) -> None:
    settings = Settings(folder=tmp_path)
    assert settings.database.parent == settings.photos.parent == tmp_path
