"""Take a picture of a page for the docs: its first screen, one part of it, or its first printed pages.

Usage: python -m scripts.picture_of_report outputs/RUN/report.html docs/pictures/report.png [--event 2]
       [--size 390x844] [--dark] [--of "figure.explaining"] [--print]
"""

import argparse
import base64
import io
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

from PIL import Image
from selenium import webdriver
from selenium.webdriver.common.by import By

MOST_BYTES = 300_000
#: Resolution of printed pages [dots per inch], and how many are shown.
PRINT_DPI, PRINT_PAGES = 60, 2
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


def open_browser(profile: str) -> webdriver.Chrome:
    """A browser without a window."""
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    for argument in (*QUIET, f"--user-data-dir={profile}"):
        options.add_argument(argument)
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver")))


def take_picture(browser: webdriver.Chrome, page: Path, wanted: argparse.Namespace) -> Image.Image:
    """The page as asked for."""
    width, height = map(int, wanted.size.split("x"))
    size = {"width": width, "height": height, "deviceScaleFactor": wanted.scale, "mobile": width < 600}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": width < 600})
    scheme = {"name": "prefers-color-scheme", "value": "dark" if wanted.dark else "light"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})
    browser.get(page.resolve().as_uri())
    time.sleep(1.5)
    if wanted.event is not None:
        button = browser.find_elements(By.CSS_SELECTOR, ".moments button")[wanted.event - 1]
        browser.execute_script("arguments[0].click()", button)
        time.sleep(1.5)
    if wanted.print:
        return print_pages(browser)
    if wanted.of:
        part = browser.find_element(By.CSS_SELECTOR, wanted.of)
        browser.execute_script("arguments[0].style.padding = '14px'", part)
        shot = part.screenshot_as_png
    else:
        shot = base64.b64decode(browser.execute_cdp_cmd("Page.captureScreenshot", {"format": "png"})["data"])
    return Image.open(io.BytesIO(shot)).convert("RGB")


def print_pages(browser: webdriver.Chrome) -> Image.Image:
    """The first printed pages side by side."""
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    with tempfile.TemporaryDirectory() as scratch:
        pdf = Path(scratch) / "page.pdf"
        pdf.write_bytes(base64.b64decode(printed["data"]))
        ask = ["pdftoppm", "-r", str(PRINT_DPI), "-l", str(PRINT_PAGES), "-png", str(pdf), f"{scratch}/p"]
        subprocess.run(ask, check=True)
        pages = [Image.open(path).convert("RGB") for path in sorted(Path(scratch).glob("p-*.png"))]
    gap = 12
    whole = Image.new("RGB", (sum(p.width + gap for p in pages) + gap, pages[0].height + 2 * gap), (190, 190, 185))
    for k, one in enumerate(pages):
        whole.paste(one, (gap + k * (one.width + gap), gap))
    return whole


def save_small(picture: Image.Image, path: Path) -> None:
    """Save as PNG with as many colours as the size allows."""
    path.parent.mkdir(parents=True, exist_ok=True)
    for colours in (256, 128, 64):
        picture.quantize(colours, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(path, optimize=True)
        if path.stat().st_size <= MOST_BYTES:
            return


if __name__ == "__main__":
    words = argparse.ArgumentParser()
    words.add_argument("page", type=Path)
    words.add_argument("picture", type=Path)
    words.add_argument("--event", type=int)
    words.add_argument("--size", default="1366x768")
    words.add_argument("--scale", type=float, default=1)
    words.add_argument("--dark", action="store_true")
    words.add_argument("--of", default="")
    words.add_argument("--print", action="store_true")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        chromium = open_browser(scratch)
        try:
            save_small(take_picture(chromium, asked.page, asked), asked.picture)
        finally:
            chromium.quit()
