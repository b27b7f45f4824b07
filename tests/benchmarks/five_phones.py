"""Five phones that send two hundred pieces with photos each at once: how long until all is stored.

``python -m tests.benchmarks.five_phones``
"""

import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.chromium import launch
from tests.browser.serving import served
from tests.faults.conftest import one_loss
from tests.faults.test_five_phones import PHONES, send_all

PIECES = 200


def main() -> None:
    """Run it once and print what it took."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        here = one_loss(Path(folder) / "installation")
        with served(here) as address:
            took = send_all(launch(playwright), address, here, PIECES)
    print(f"{PHONES} phones x {PIECES} pieces with photos: all stored in {took:.1f} s")


if __name__ == "__main__":
    main()
