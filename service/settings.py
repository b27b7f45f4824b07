"""Where an installation keeps its things, and what it is called."""

from dataclasses import dataclass
from pathlib import Path

from shared import ledger

DEFAULT_FOLDER = Path("data")
KEY_FILE = "checkpoint-key"
FACTS_CHANGES_FILE = "facts-changes.csv"


@dataclass(frozen=True)
class Settings:
    """An installation.

    Attributes:
        folder: holds the database, the photos and the signing key.
        base_url: what tags point to; its host and path are printed in capitals.
        key_name: name of the key that signs checkpoints.
    """

    folder: Path = DEFAULT_FOLDER
    base_url: str = "http://localhost:8000"
    key_name: str = "lagan.local"

    @property
    def database(self) -> Path:
        """The SQLite file."""
        return self.folder / "lagan.db"

    @property
    def photos(self) -> Path:
        """The folder of photos and other sealed files."""
        return self.folder / "photos"

    @property
    def facts_changes(self) -> Path:
        """The facility's own changes to the tables, if it keeps any."""
        return self.folder / FACTS_CHANGES_FILE

    def signer(self) -> ledger.Signer:
        """The signing key, made on first use and readable by its owner only.

        Raises ``ledger.LedgerError`` when the key file is damaged.
        """
        path = self.folder / KEY_FILE
        if not path.exists():
            self.folder.mkdir(parents=True, exist_ok=True)
            made = ledger.Signer.generate(self.key_name)
            path.touch(mode=0o600)
            path.write_text(f"{made.name} {made.seed.hex()}\n", encoding="ascii")
        try:
            name, _, seed = path.read_text(encoding="ascii").strip().partition(" ")
            return ledger.Signer(name, bytes.fromhex(seed))
        except ValueError as error:
            raise ledger.LedgerError(
                f"{path} is damaged ({error}); restore it from a backup: a new key cannot vouch "
                "for what the old one signed"
            ) from error
