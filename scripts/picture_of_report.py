"""Take the README's picture: the top of a report in a browser, at the moment of its chosen event.

Usage: python scripts/picture_of_report.py outputs/RUN/report.html docs/pictures/report.png [number of the event]
"""

import base64
import io
import shutil
import sys
import tempfile
import time
from pathlib import Path

from PIL import Image
from selenium import webdriver
from selenium.webdriver.common.by import By

WIDTH, HEIGHT = 1366, 768
MOST_BYTES = 300_000


def take_picture(page: Path, event: int | None) -> Image.Image:
    """The first screen of the page, after going to the event of that number (from 1) where one is given."""
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    with tempfile.TemporaryDirectory() as profile:
        for argument in (
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            f"--user-data-dir={profile}",
        ):
            options.add_argument(argument)
        for argument in ("--disable-quic", "--no-first-run", "--disable-background-networking"):
            options.add_argument(argument)
        for argument in ("--disable-component-update", "--disable-sync"):
            options.add_argument(argument)
        browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver")))
        try:
            size = {"width": WIDTH, "height": HEIGHT, "deviceScaleFactor": 1, "mobile": False}
            browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
            browser.get(page.resolve().as_uri())
            time.sleep(1.5)
            if event is not None:
                button = browser.find_elements(By.CSS_SELECTOR, ".moments button")[event - 1]
                browser.execute_script("arguments[0].click()", button)
                time.sleep(1.5)
            shot = browser.execute_cdp_cmd("Page.captureScreenshot", {"format": "png"})
        finally:
            browser.quit()
    return Image.open(io.BytesIO(base64.b64decode(shot["data"]))).convert("RGB")


def save_small(picture: Image.Image, path: Path) -> None:
    """Save as PNG with as many colours as the size allows."""
    path.parent.mkdir(parents=True, exist_ok=True)
    for colours in (256, 128, 64):
        picture.quantize(colours, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(path, optimize=True)
        if path.stat().st_size <= MOST_BYTES:
            return


if __name__ == "__main__":
    save_small(take_picture(Path(sys.argv[1]), int(sys.argv[3]) if len(sys.argv) > 3 else None), Path(sys.argv[2]))
