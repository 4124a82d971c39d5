"""The desk in a browser: from a clip without tags and colours to a finished report, by mouse and by keyboard alone."""

import json
import re
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from matchvision.desk import OpenDesk, open_desk
from matchvision.desk.asking import SetPoints, ShowColour
from matchvision.filming import Scene
from tests.desk.clicking import example_of, marker_pixel, pixel_of
from tests.desk.filmed import film_small, small_scene

pytest.importorskip("selenium")
pytest.importorskip("axe_core_python")

from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import Select, WebDriverWait

from tests.browser.accessibility import serious_faults
from tests.browser.chromium import CHROMIUM, DRIVER, NEEDS_CHROMIUM, QUIET

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    NEEDS_CHROMIUM,
]

#: Seconds of a person's actions. S. K. Card, T. P. Moran, A. Newell, Communications of the ACM 23 (1980) 396 (from
#: memory): pointing 1.1, a button down or up 0.1, getting ready 1.35, a key 0.28; all of it doubled for somebody who is
#: new to the page. Watching the tracking and judging what was found are counted as 5 s each.
CLICK_S, FINE_DRAG_S, KEY_S, WATCH_S = 2 * 2.65, 2 * 3.75, 2 * 0.28, 5.0
LONGEST_S = 180.0
#: What has not moved for so long is taken to stand still.
SETTLED_S = 0.15
MAGNIFIED = 8


class Person:
    """Somebody at the desk with a mouse; every action is counted with its seconds."""

    def __init__(self, browser: webdriver.Chrome) -> None:
        self.browser = browser
        self.seconds: list[tuple[str, float]] = []

    def find(self, query: str) -> WebElement:
        return self.browser.find_element(By.CSS_SELECTOR, query)

    def wait(self, script: str, seconds: float = 60) -> None:
        WebDriverWait(self.browser, seconds, 0.05).until(lambda page: page.execute_script(f"return {script}"))

    def click(self, query: str) -> None:
        """Clicks what stands still: an answer that comes in may still move what lies below it, as anybody sees."""
        before: dict[str, float] = {}
        while (now := self.find(query).rect) != before:
            before = now
            time.sleep(SETTLED_S)
        self.find(query).click()
        self.seconds.append((query, CLICK_S))

    def watch(self) -> None:
        self.seconds.append(("watching", WATCH_S))

    def _to_screen(self, pixel: tuple[float, float]) -> tuple[WebElement, int, int, float]:
        box = self.find("#picture")
        self.browser.execute_script("arguments[0].scrollIntoView({block: 'nearest'})", box)
        scale = box.rect["width"] / 960
        across, down = (pixel[0] + 0.5) * scale, (pixel[1] + 0.5) * scale
        return box, round(across - box.rect["width"] / 2), round(down - box.rect["height"] / 2), scale

    def click_picture(self, pixel: tuple[float, float]) -> None:
        box, across, down, _ = self._to_screen(pixel)
        ActionChains(self.browser, 20).move_to_element_with_offset(box, across, down).click().perform()
        self.seconds.append(("click in the picture", CLICK_S))

    def drag_picture(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        box, across, down, scale = self._to_screen(start)
        by = [round((b - a) * scale) for a, b in zip(start, end, strict=True)]
        pull = ActionChains(self.browser, 20).move_to_element_with_offset(box, across, down).click_and_hold()
        pull.move_by_offset(by[0], by[1]).release().perform()
        self.seconds.append(("drag in the picture", FINE_DRAG_S))

    def cursor(self) -> tuple[float, float]:
        column, row = re.findall(r"-?\d+\.\d", self.find("#status").text)
        return float(column), float(row)

    def drag_patch(self, pixel: tuple[float, float]) -> None:
        """Pull the magnified patch until the crosshair is on the pixel."""
        patch = self.find("#patch")
        shown = patch.rect["width"] / 264 * MAGNIFIED
        by = [round((a - b) * shown) for a, b in zip(self.cursor(), pixel, strict=True)]
        pull = ActionChains(self.browser, 20).move_to_element(patch).click_and_hold()
        pull.move_by_offset(by[0], by[1]).release().perform()
        self.seconds.append(("drag on the patch", FINE_DRAG_S))


@pytest.fixture(scope="module")
def scene() -> Scene:
    return small_scene()


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory, scene: Scene) -> Path:
    """Filmed; and whoever wrote the sheet took heron's two discs for each other, so that its tracks are swapped."""
    folder = film_small(tmp_path_factory.mktemp("filmed") / "run", scene)
    text = (folder / "run.toml").read_text(encoding="utf-8")
    front, rear = (next(d.colour for d in scene.machine["heron"].marker if d.name == n) for n in ("front", "rear"))
    head, heron, rest = text.partition('[[machine.heron.marker]]\nname = "front"')
    swapped = rest.replace(f'"{front}"', '"?"', 1).replace(f'"{rear}"', f'"{front}"', 1).replace('"?"', f'"{rear}"', 1)
    (folder / "run.toml").write_text(head + heron + swapped, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for argument in (*QUIET, f"--user-data-dir={tmp_path_factory.mktemp('browser')}", "--window-size=1440,1000"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(str(DRIVER)))
    yield browser
    browser.quit()


@pytest.fixture
def desk(filmed: Path, tmp_path: Path) -> Iterator[OpenDesk]:
    folder = tmp_path / "run"
    folder.mkdir()
    shutil.copy(filmed / "run.toml", folder)
    (folder / "clip.mp4").hardlink_to(filmed / "clip.mp4")
    opened = open_desk(folder, tmp_path / "results")
    thread = opened.serve_aside()
    yield opened
    opened.stop()
    thread.join(10)


@pytest.fixture
def person(driver: webdriver.Chrome, desk: OpenDesk) -> Person:
    for kind in ("browser", "performance"):
        driver.get_log(kind)  # type: ignore[no-untyped-call]
    driver.get(desk.address)
    somebody = Person(driver)
    somebody.wait("document.documentElement.dataset.ready === 'yes'")
    return somebody


def test_by_mouse_to_a_finished_report(
    person: Person, desk: OpenDesk, filmed: Path, scene: Scene, tmp_path: Path
) -> None:
    start = round(scene.clock.start_s * scene.camera.frames_per_s)
    person.click("#step-start > summary")
    person.watch()
    person.click("#start-here")
    person.wait("document.querySelector('#step-table').open")

    # Six points: a corner dragged from a place beside it, all of them finely set on the magnified patch.
    names = ["corner −x −y", "corner +x −y", "corner +x +y", "corner −x +y", "centre line at the −y edge"]
    at = {known["name"]: known["at_m"] for known in desk.bench.state()["table"]["known"]}
    for count, name in enumerate(names, start=1):
        pixel = pixel_of(scene, (*at[name][:2], 0.0))
        if count == 1:
            person.drag_picture((pixel[0] + 12, pixel[1] - 8), pixel)
        else:
            person.click_picture(pixel)
        person.wait(f"document.querySelectorAll('#points .away').length === {count}")
        person.drag_patch(pixel)
        assert np.hypot(*np.subtract(person.cursor(), pixel)) < 0.3
    person.wait("document.querySelector('#done-table').textContent === 'known'")
    person.watch()
    assert "mm at worst" in person.find("#plan-words").text
    assert len(person.browser.find_elements(By.CSS_SELECTOR, "#plan .place")) > 100

    # A click a colour; the next unknown one is chosen by itself.
    person.click("#step-colours > summary")
    colours = [colour["name"] for colour in desk.bench.state()["colours"]]
    for count, colour in enumerate(colours, start=1):
        # The list is drawn anew with each answer: what was found in it a moment ago may be gone.
        person.wait(f"document.querySelector('#colours .chosen')?.textContent.trim().startsWith({colour!r})")
        person.click_picture(marker_pixel(filmed, example_of(scene, colour), start))
        person.wait(f"document.querySelector('#done-colours').textContent.startsWith('{count} of')")
    person.wait("!document.querySelector('#mask').hidden && document.querySelector('#mask').naturalWidth > 0")

    person.click("#step-names > summary")
    person.wait("document.querySelector('#done-names').textContent.includes('found')")
    person.watch()
    found, of = (int(n) for n in re.findall(r"\d+", person.find("#done-names").text))
    assert found >= of - 2

    person.click("#step-mends > summary")
    person.click("#follow")
    person.wait("document.querySelectorAll('#tracks li').length > 0")
    person.watch()
    person.click('[data-track="heron.front"]')
    assert Select(person.find("#mend-other")).first_selected_option.text == "heron.rear"  # the nearest of its kind
    before = desk.bench.previewed()["tracks"]["tracks"]
    person.click("#mend-swap")
    person.wait("document.querySelectorAll('#mends li').length === 2")
    assert off_truth(desk, filmed, "heron.front", before) > 20
    assert off_truth(desk, filmed, "heron.front") < 1.5

    person.click("#step-run > summary")
    assert person.find("#done-run").text == "ready"
    person.click("#run")
    person.wait("document.querySelector('#done-run').textContent === 'done'", 120)
    assert "has won" in person.find("#verdict").text
    assert not [line for line in person.browser.get_log("browser") if line["level"] == "SEVERE"]  # type: ignore[no-untyped-call]

    assert sum(seconds for _, seconds in person.seconds) < LONGEST_S, person.seconds
    assert len(person.seconds) < 40

    tracks = pd.read_csv(tmp_path / "results" / "tracks.csv")
    row = tracks[(tracks["marker"] == "heron.front") & (tracks["frame"] == start + 10)].iloc[0]
    assert row["state"] == "tied"
    truth = marker_pixel(filmed, "heron.front", start + 10)
    assert np.hypot(row["col_px"] - truth[0], row["row_px"] - truth[1]) < 1.5
    opens_the_report(person)
    asked_of_the_desk_alone(person, desk)


def off_truth(desk: OpenDesk, filmed: Path, marker: str, tracks: list[dict[str, Any]] | None = None) -> float:
    """How far a previewed marker is off the true one ten pictures on [px]."""
    shown = desk.bench.previewed()["tracks"]
    listed = shown["tracks"] if tracks is None else tracks
    track = next(track for track in listed if track["name"] == marker)
    truth = marker_pixel(filmed, marker, shown["frames"][10])
    return float(np.hypot(track["col"][10] - truth[0], track["row"][10] - truth[1]))


def opens_the_report(person: Person) -> None:
    """The report opens in a tab of its own, kept apart from the desk, and its clip plays."""
    own = person.browser.current_window_handle
    person.click("#report-link")
    WebDriverWait(person.browser, 20).until(lambda page: len(page.window_handles) == 2)
    person.browser.switch_to.window(person.browser.window_handles[-1])
    person.wait(
        "document.querySelector('#verdict') !== null && document.querySelector('#time').textContent.includes('s')"
    )
    assert "has won" in person.find("aside").text
    person.wait("document.querySelector('video').readyState > 0")
    assert person.browser.execute_script("return self.origin") == "null"
    person.browser.close()
    person.browser.switch_to.window(own)


def asked_of_the_desk_alone(person: Person, desk: OpenDesk) -> None:
    """Every request went to the desk's own address."""
    asked = []
    for entry in person.browser.get_log("performance"):  # type: ignore[no-untyped-call]
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            asked.append(message["params"]["request"]["url"])
    assert len(asked) > 20
    assert all(url.startswith((desk.address, f"blob:http://127.0.0.1:{desk.port}/")) for url in asked)


def test_by_keyboard_alone(person: Person, desk: OpenDesk, filmed: Path, scene: Scene) -> None:
    """The same way without a mouse: Tab, arrows and Enter; and no step hides what has the focus."""
    browser = person.browser
    start = round(scene.clock.start_s * scene.camera.frames_per_s)

    def press(*keys: str) -> None:
        ActionChains(browser, 0).send_keys(*keys).perform()

    def tab_to(query: str, *, back: bool = False) -> None:
        for _ in range(90):
            if browser.execute_script("return document.activeElement?.matches(arguments[0])", query):
                return
            if back:
                ActionChains(browser, 0).key_down(Keys.SHIFT).send_keys(Keys.TAB).key_up(Keys.SHIFT).perform()
            else:
                press(Keys.TAB)
        pytest.fail(f"Tab never reaches {query}")

    def aim(pixel: tuple[float, float]) -> None:
        """From wherever the crosshair is, with the arrow keys: by ten pixels, by one, on the patch by a tenth."""
        tab_to("#picture", back=browser.execute_script("return !!document.activeElement.closest('#steps, #lens')"))
        if "column" not in person.find("#status").text:
            press(Keys.ARROW_LEFT, Keys.ARROW_RIGHT)
        for step in (10, 1):
            here = person.cursor()
            keys = []
            for axis, (less, more) in enumerate(
                ((Keys.ARROW_LEFT, Keys.ARROW_RIGHT), (Keys.ARROW_UP, Keys.ARROW_DOWN))
            ):
                by = int((pixel[axis] - here[axis]) / step)
                keys += [more if by > 0 else less] * abs(by)
            chain = ActionChains(browser, 0)
            if step == 10:
                chain.key_down(Keys.SHIFT).send_keys(*keys).key_up(Keys.SHIFT).perform()
            elif keys:
                chain.send_keys(*keys).perform()

    for count, known in enumerate(desk.bench.state()["table"]["known"][:5], start=1):
        aim(pixel_of(scene, (*known["at_m"][:2], 0.0)))
        press(Keys.ENTER)
        person.wait(f"document.querySelectorAll('#points .away').length === {count}")
    person.wait("document.querySelector('#done-table').textContent === 'known'")
    tab_to("#patch")
    before = person.cursor()
    press(Keys.ARROW_RIGHT, Keys.ARROW_RIGHT, Keys.ARROW_LEFT)
    assert person.cursor()[0] == pytest.approx(before[0] + 0.1, abs=0.051)

    tab_to("#step-colours > summary")
    press(Keys.ENTER)
    for count, colour in enumerate([colour["name"] for colour in desk.bench.state()["colours"]], start=1):
        aim(marker_pixel(filmed, example_of(scene, colour), start))
        press(Keys.ENTER)
        person.wait(f"document.querySelector('#done-colours').textContent.startsWith('{count} of')")

    tab_to("#step-mends > summary")
    press(Keys.ENTER)
    tab_to("#follow")
    press(Keys.SPACE)
    person.wait("document.querySelectorAll('#tracks li').length > 0")
    tab_to('[data-track="heron.front"]')
    press(Keys.SPACE)
    tab_to("#mend-swap")
    press(Keys.SPACE)
    person.wait("document.querySelectorAll('#mends li').length === 2")
    assert off_truth(desk, filmed, "heron.front") < 1.5

    tab_to("#step-run > summary")
    press(Keys.ENTER)
    tab_to("#run")
    press(Keys.SPACE)
    person.wait("document.querySelector('#done-run').textContent === 'done'", 120)
    assert "has won" in person.find("#verdict").text


def test_every_mend_by_mouse(person: Person, desk: OpenDesk, filmed: Path, scene: Scene) -> None:
    """Cut, strike, tie, set, the rope's end; each finely adjusted, kept at once, and taken back."""
    known = desk.bench.state()["table"]["known"][:6]
    points = [{**one, "pixel": pixel_of(scene, (*one["at_m"][:2], 0.0))} for one in known]
    desk.bench.set_points(SetPoints.model_validate_json(json.dumps({"points": points, "keep": True})))
    for colour in desk.bench.state()["colours"]:
        pixel = marker_pixel(filmed, example_of(scene, colour["name"]), 12)
        desk.bench.show_colour(ShowColour(name=colour["name"], number=12, pixel=pixel))
    person.browser.refresh()
    person.wait("document.documentElement.dataset.ready === 'yes'")
    person.click("#step-mends > summary")
    person.click("#follow")
    person.wait("document.querySelectorAll('#tracks li').length > 0")

    def kept(count: int) -> list[dict[str, Any]]:
        person.wait(f"document.querySelectorAll('#mends li').length === {count}")
        until = WebDriverWait(person.browser, 10, 0.05)
        until.until(lambda _: len(desk.bench.state()["mends"]) == count)
        return list(desk.bench.state()["mends"])

    person.click_picture(marker_pixel(filmed, "plover.front", 12))  # a press on a track chooses it
    assert person.find("#mend-marker").text == "plover.front"
    for _ in range(5):
        person.click("#on")
    person.click("#take-until")
    person.click("#mend-strike")
    assert kept(1)[0] == {"do": "strike", "marker": "plover.front", "frame": 12, "until_frame": 17, "why": ""}
    person.click("#take-from")
    person.find("#mend-until").clear()
    person.click("#mend-cut")
    assert kept(2)[1] == {"do": "cut", "marker": "plover.front", "frame": 17, "why": ""}
    Select(person.find("#mend-other")).select_by_value("bead_07")
    person.click("#mend-tie")
    assert kept(3)[2] == {"do": "tie", "marker": "plover.front", "followed_as": "bead_07", "frame": 17, "why": ""}

    person.find("#end-height").send_keys("52")
    for count, query in ((4, "#mend-set"), (5, '[data-end="plover"]')):
        person.click(query)
        wanted = pixel_of(scene, (0.3, 0.1, 0.05))
        person.click_picture((wanted[0] + 4, wanted[1] - 3))
        kept(count)
        person.drag_patch(wanted)
        settled(desk, wanted)
        assert desk.bench.state()["mends"][-1]["frame"] == 17
        person.click(query)
    assert [mend["do"] for mend in kept(5)] == ["strike", "cut", "tie", "set", "end"]

    assert kept(5)[4]["height_m"] == {"value": 0.052, "u": 0.003}

    person.click("#mends .away")
    assert [mend["do"] for mend in kept(4)] == ["cut", "tie", "set", "end"]
    person.click("#to-end")
    person.wait("document.querySelector('#time').textContent.startsWith('1.60 s')")
    assert person.find("#trouble").get_attribute("hidden") is not None


def settled(desk: OpenDesk, wanted: tuple[float, float]) -> None:
    """Wait until the last mend is kept where it was pulled to."""
    until = time.monotonic() + 10
    while np.hypot(*np.subtract(desk.bench.state()["mends"][-1]["pixel"], wanted)) > 0.3:
        assert time.monotonic() < until, desk.bench.state()["mends"][-1]
        time.sleep(0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_serious_fault(person: Person, scheme: str) -> None:
    media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    person.browser.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    for step in ("start", "table", "colours", "names", "mends", "run"):
        person.browser.execute_script(f"document.querySelector('#step-{step}').open = true")
        assert serious_faults(person.browser) == [], step
