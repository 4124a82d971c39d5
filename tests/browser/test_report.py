"""The page in a browser: opens from disk, quiet, without network, and moves through the run as it says."""

import base64
import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from matchvision.footage import read_frames
from matchvision.records.results import Analysis, CauseRow
from matchvision.report import cut_stills, mark_clip, write_page, write_ruling
from matchvision.report.causing import draw_causes
from matchvision.report.embedding import hold_clip
from matchvision.report.slots import fill_slots
from matchvision.report.wording import quantity
from tests.report.invented import invent_analysis
from tests.report.test_explainedpicture import MEASURED, curve

pytest.importorskip("selenium")
pytest.importorskip("axe_core_python")

from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from tests.browser.accessibility import serious_faults
from tests.browser.chromium import CHROMIUM, DRIVER, NEEDS_CHROMIUM, QUIET

pytestmark = [
    pytest.mark.browser,
    NEEDS_CHROMIUM,
]


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return invent_analysis("hitch-slips")


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for argument in (*QUIET, f"--user-data-dir={tmp_path_factory.mktemp('browser')}", "--window-size=1366,768"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(str(DRIVER)))
    yield browser
    browser.quit()


@pytest.fixture(scope="module")
def folder(analysis: Analysis, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("results")
    mark_clip(analysis, read_frames(analysis.clip), folder / "marked.mp4")
    write_page(analysis, folder)
    (folder / "causes.html").write_text(with_causes((folder / "report.html").read_text(encoding="utf-8")), "utf-8")
    write_ruling(analysis, folder, cut_stills(analysis, lambda *part: read_frames(analysis.clip, *part)))
    return folder


def with_causes(page: str) -> str:
    """The page with causes in it, the likeliest with its pictures."""
    curves = (curve(logged=MEASURED), curve("pull", ""), curve("surface"), curve("heading"))
    said = "heron had lost half of its drive since 2.9 s, 90 %."
    causes = (
        CauseRow("drive-loss", "heron", 0.9, 0.5, 0.02, "1", 2.9, said, curves),
        CauseRow("late-start", "plover", 0.1, 0.5, 0.1, "s", float("nan"), "plover started 0.5 s late, 10 %."),
    )
    return fill_slots(page, draw_causes(causes, None, kind="match", forecast=True, compared=True, due=False))


@pytest.fixture
def page(driver: webdriver.Chrome, folder: Path) -> webdriver.Chrome:
    for kind in ("browser", "performance"):
        driver.get_log(kind)  # type: ignore[no-untyped-call]
    driver.get((folder / "report.html").as_uri())
    return driver


def text(page: webdriver.Chrome, query: str) -> str:
    return page.find_element(By.CSS_SELECTOR, query).text


def clock_s(page: webdriver.Chrome) -> float:
    return float(text(page, "#time").split()[0].replace("−", "-"))


def press(page: webdriver.Chrome, *keys: str) -> None:
    ActionChains(page).send_keys(*keys).perform()


def test_opens_quietly_and_asks_for_nothing_from_outside(page: webdriver.Chrome) -> None:
    assert page.get_log("browser") == []  # type: ignore[no-untyped-call]
    asked = []
    for entry in page.get_log("performance"):  # type: ignore[no-untyped-call]
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            asked.append(message["params"]["request"]["url"])
    assert asked
    assert all(url.startswith("file:///") for url in asked)
    assert {url.rsplit("/", maxsplit=1)[1] for url in asked} <= {"report.html", "marked.mp4"}


def test_shows_the_deciding_moment_with_its_numbers(page: webdriver.Chrome, analysis: Analysis) -> None:
    # The clock stops between two pictures: that moment is told, and the ruling with it.
    assert text(page, "#time").split() == ["6.00", "s", "the", "clock", "stops"]
    assert analysis.motion.rope is not None
    frame = int(abs(analysis.motion.clip_s - analysis.clock.end_clip_s).argmin())
    heron = analysis.motion.machines["heron"]
    values = {e.get_attribute("data-chart"): e.text for e in page.find_elements(By.CSS_SELECTOR, ".now dd")[:2]}
    assert values["speed"] == quantity(1000 * heron.speed_m_s[frame], 1000 * heron.u_speed_m_s[frame], "mm/s")
    assert analysis.pull is not None
    fused = analysis.pull.source("fused")
    assert fused is not None
    assert values["pull"] == quantity(fused.tension_N[frame], fused.u_tension_N[frame], "N")


def test_arrow_keys_step_by_pictures(page: webdriver.Chrome) -> None:
    press(page, Keys.ARROW_LEFT)
    before = clock_s(page)
    press(page, Keys.ARROW_LEFT)
    assert before - clock_s(page) == pytest.approx(1 / 30, abs=0.011)
    press(page, Keys.ARROW_RIGHT)
    assert clock_s(page) == pytest.approx(before, abs=0.001)
    rope = page.find_element(By.ID, "rope-minus").get_attribute("d")
    ActionChains(page).key_down(Keys.SHIFT).send_keys(*[Keys.ARROW_LEFT] * 9).key_up(Keys.SHIFT).perform()
    assert before - clock_s(page) == pytest.approx(90 / 30, abs=0.05)
    assert page.find_element(By.ID, "rope-minus").get_attribute("d") != rope


def test_choosing_an_event_goes_there_and_the_picture_follows(page: webdriver.Chrome, analysis: Analysis) -> None:
    assert analysis.grip is not None
    event = analysis.grip.events[-1]
    page.find_elements(By.CSS_SELECTOR, ".moments button")[-1].click()
    assert clock_s(page) == pytest.approx(event.start_s, abs=0.02)
    wanted = event.start_s + analysis.clock.start_clip_s

    def arrived(page: webdriver.Chrome) -> bool:
        at = page.execute_script("return document.querySelector('video').currentTime")
        return abs(float(at) - wanted) < 1 / 30  # within a picture of this clip

    WebDriverWait(page, 10).until(arrived)


def test_pulling_the_rope_moves_through_the_run(page: webdriver.Chrome, analysis: Analysis) -> None:
    page.find_elements(By.CSS_SELECTOR, ".moments button")[-1].click()
    before = clock_s(page)
    box = page.find_element(By.ID, "handle")
    across = page.find_element(By.ID, "from-above").size["width"] / 2320  # screen per millimetre of table
    pull = ActionChains(page).move_to_element(box).click_and_hold()
    for _ in range(5):
        pull = pull.move_by_offset(round(-20 * across), 0)
    pull.release().perform()
    after = clock_s(page)
    assert after > before  # the rope went towards −x, so pulling it that way goes on in time
    rope = analysis.motion.rope
    assert rope is not None
    middle_m = (rope.on_plus_x_m - rope.on_minus_x_m) / 2
    at = [int(abs(analysis.clock.match_time(analysis.motion.clip_s) - t).argmin()) for t in (before, after)]
    assert middle_m[at[1]] - middle_m[at[0]] == pytest.approx(-0.1, abs=0.015)


#: Goes through moments by the keyboard and tells of each: the clock's reading, the moment at which every curve's cursor
#: stands when the page is next painted, and which picture of the clip is then shown.
GO_THROUGH = """
const [steps, done] = [arguments[0], arguments[arguments.length - 1]];
const data = JSON.parse(document.getElementById('data').textContent);
const handle = document.getElementById('handle'), video = document.querySelector('video');
const charts = Object.fromEntries(data.charts.map(chart => [chart.key, chart]));
const clock = () => parseFloat(document.getElementById('time').textContent.replace('−', '-'));
const cursors = () => [...document.querySelectorAll('.plot[data-kind=over-time]')].map(plot => {
  const [x0, x1] = charts[plot.dataset.chart].scale;
  return x0 + (x1 - x0) * parseFloat(plot.querySelector('.cursor').style.left) / 100;
});
const painted = () => new Promise(go => requestAnimationFrame(() => go()));
const later = ms => new Promise(go => setTimeout(go, ms));
const shown = () => new Promise(go => video.requestVideoFrameCallback((_, frame) => go(frame.mediaTime)));
(async () => {
  const told = [];
  for (const count of steps) {
    const picture = shown();
    const way = count < 0 ? 'ArrowLeft' : 'ArrowRight';
    const key = () => handle.dispatchEvent(new KeyboardEvent('keydown', { key: way, bubbles: true }));
    for (let n = 0; n < Math.abs(count); n += 1) key();
    await painted();
    const [at, curves, rope] = [clock(), cursors(), document.getElementById('rope-minus').getAttribute('d')];
    let media = await picture;
    const nearer = (best, t, k) => Math.abs(t - at) < Math.abs(data.t[best] - at) ? k : best;
    const wanted = data.clip[data.t.reduce(nearer, 0)];
    // Seeking passes by the pictures of the steps between, and rests for a moment at each; the last one counts.
    const until = performance.now() + 5000;
    while (Math.abs(media - wanted) > 0.034 && performance.now() < until)
      media = await Promise.race([shown(), later(300).then(() => media)]);
    told.push({ at, curves, rope, media, wanted });
  }
  done(told);
})();
"""


def test_clip_and_curves_move_together_within_a_frame(page: webdriver.Chrome, analysis: Analysis) -> None:
    page.set_script_timeout(60)
    video = "document.querySelector('video')"
    WebDriverWait(page, 20).until(lambda p: p.execute_script(f"return {video}.readyState >= 2 && !{video}.seeking"))
    told = page.execute_async_script(GO_THROUGH, [-1, -1, -7, 3, -20, 11])
    frame_s = float(np.median(np.diff(analysis.motion.clip_s)))
    assert len({step["at"] for step in told}) == 6
    # From one picture to the next the rope may be drawn alike: it moves by less than a millimetre.
    assert len({step["rope"] for step in told}) > 3
    for step in told:
        assert step["curves"]
        assert np.abs(np.array(step["curves"]) - step["at"]).max() < frame_s / 2 + 0.006  # the clock is shown to 10 ms
        assert abs(step["media"] - step["wanted"]) < frame_s, step


def test_slider_says_where_it_is(page: webdriver.Chrome) -> None:
    handle = page.find_element(By.ID, "handle")
    assert handle.get_attribute("role") == "slider"
    said = handle.get_attribute("aria-valuetext")
    assert said is not None
    assert "% of the rope" in said
    handle.send_keys(Keys.HOME)
    assert clock_s(page) == pytest.approx(0.0, abs=0.02)


def test_runs_by_itself(page: webdriver.Chrome) -> None:
    press(page, Keys.TAB)
    page.find_element(By.ID, "handle").send_keys(Keys.HOME)
    page.find_element(By.ID, "play").click()
    WebDriverWait(page, 10).until(lambda p: clock_s(p) > 0.5)
    page.find_element(By.ID, "play").click()
    assert text(page, "#play") == "run"


def test_events_are_in_view_on_a_laptop_without_scrolling(page: webdriver.Chrome, analysis: Analysis) -> None:
    size = {"width": 1366, "height": 768, "deviceScaleFactor": 1, "mobile": False}
    page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        video = "document.querySelector('video')"
        WebDriverWait(page, 20).until(lambda p: p.execute_script(f"return {video}.readyState >= 1"))
        boxes = [one.rect for one in page.find_elements(By.CSS_SELECTOR, ".moments li")]
        assert analysis.grip is not None
        assert len(boxes) == len(analysis.grip.events)
        assert max(box["y"] + box["height"] for box in boxes[:6]) <= 768
    finally:
        page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1366, 768), (820, 1180)])
@pytest.mark.parametrize("name", ["report.html", "causes.html"])
def test_nothing_sticks_out_sideways(page: webdriver.Chrome, folder: Path, name: str, width: int, height: int) -> None:
    page.get((folder / name).as_uri())
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
    page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        wide = page.execute_script("return document.documentElement.scrollWidth")
        assert wide <= width
    finally:
        page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["report.html", "causes.html", "ruling.html"])
def test_axe_finds_no_serious_fault(page: webdriver.Chrome, folder: Path, name: str, scheme: str) -> None:
    look = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", look)
    try:
        page.get((folder / name).as_uri())
        page.execute_script("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
        assert serious_faults(page) == []
    finally:
        page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_axe_would_find_a_fault(page: webdriver.Chrome) -> None:
    page.execute_script("document.body.append(Object.assign(document.createElement('img'), { src: 'data:,' }))")
    assert [fault.split(" ")[0] for fault in serious_faults(page)] == ["image-alt"]


def test_first_paint_within_a_second_and_a_small_file(page: webdriver.Chrome, folder: Path) -> None:
    painted_ms = page.execute_script(
        "return performance.getEntriesByType('paint').find(one => one.name === 'first-contentful-paint')?.startTime"
    )
    assert painted_ms is not None
    assert painted_ms < 1000
    assert (folder / "report.html").stat().st_size < 6_000_000


def test_ruling_sheet_prints_on_one_side_of_a4(driver: webdriver.Chrome, folder: Path) -> None:
    driver.get((folder / "ruling.html").as_uri())
    printed = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    pdf = base64.b64decode(printed["data"])
    assert len(re.findall(rb"/Type\s*/Page[^s]", pdf)) == 1


def test_a_report_that_holds_its_clip_needs_no_file_beside_it(
    driver: webdriver.Chrome, folder: Path, tmp_path: Path
) -> None:
    page = (folder / "report.html").read_text(encoding="utf-8")
    held = fill_slots(page, hold_clip((folder / "marked.mp4").read_bytes()))
    (tmp_path / "handed-on.html").write_text(held, encoding="utf-8")
    driver.get((tmp_path / "handed-on.html").as_uri())
    video = "document.querySelector('video')"
    WebDriverWait(driver, 10).until(lambda d: d.execute_script(f"return {video}.readyState >= 2"))
    assert driver.execute_script(f"return {video}.src").startswith("blob:")
    assert driver.find_element(By.ID, "camera").is_displayed()
    driver.find_element(By.ID, "handle").send_keys(Keys.HOME)
    wanted = driver.execute_script(
        "const data = JSON.parse(document.getElementById('data').textContent);"
        "return data.clip[data.t.findIndex(t => t > -0.001)]"
    )
    WebDriverWait(driver, 10).until(lambda d: abs(d.execute_script(f"return {video}.currentTime") - wanted) < 1 / 30)


def test_works_without_the_marked_clip(driver: webdriver.Chrome, folder: Path, tmp_path: Path) -> None:
    shutil.copy(folder / "report.html", tmp_path / "report.html")
    driver.get((tmp_path / "report.html").as_uri())
    WebDriverWait(driver, 10).until(lambda d: not d.find_element(By.CSS_SELECTOR, "video").is_displayed())
    assert "marked.mp4, does not lie beside this page" in text(driver, "#no-picture")
    before = clock_s(driver)
    press(driver, Keys.ARROW_LEFT)
    assert clock_s(driver) < before


def test_keys_are_offered_only_where_there_is_a_keyboard(page: webdriver.Chrome) -> None:
    assert "press ← and →" in text(page, "figure.table figcaption")
    page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    try:
        page.refresh()
        assert "Pull the rope to move through the run" in text(page, "figure.table figcaption")
    finally:
        page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
