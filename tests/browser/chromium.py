"""Which browser the pages are tried in, and how it is kept quiet."""

import os
import shutil
from typing import Final

import pytest

CHROMIUM: Final = os.environ.get("MATCHVISION_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER: Final = shutil.which("chromedriver")
NEEDS_CHROMIUM: Final = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="needs Chromium and its driver (chromium, chromium-driver)"
)
QUIET: Final = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
