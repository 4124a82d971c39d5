"""Printed targets: true size, measured on the page by other programs; text that stays text; pages in good order.

Pages are turned into pictures by pdftoppm (poppler), which shares nothing with what drew them, and looked at by OpenCV.
"""

import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import cv2
import matplotlib as mpl
import numpy as np
import numpy.typing as npt
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from matchvision.errors import OutputError, TableError
from matchvision.markers.colours import chroma_of
from matchvision.records.sheet import Tag
from matchvision.report.targets import KINDS, plan_by_hand, plan_from_sheet, print_targets
from matchvision.report.targets.board import draw_board_page
from matchvision.report.targets.card import choose_stand, draw_card_page
from matchvision.report.targets.discs import draw_disc_pages, draw_wrap_pages
from matchvision.report.targets.paper import PAPERS, Page
from matchvision.report.targets.planning import COLOURS, RimPrint, TargetPlan
from matchvision.report.targets.printing import _PRINT_STYLE, _ask_for_true_size
from matchvision.report.targets.rims import draw_rim_pages, place_dot
from matchvision.report.targets.tags import draw_tag_pages, name_direction
from matchvision.sheets import load_run
from matchvision.table.tags import lay_out_tags

POPPLER = ("pdftoppm", "pdftotext", "pdfinfo")
needs_poppler = pytest.mark.skipif(
    not all(shutil.which(name) for name in POPPLER), reason="poppler-utils (pdftoppm, pdftotext, pdfinfo) is missing"
)
SAMPLES = Path(__file__).parents[2] / "sample_clips"
DOTS_PER_INCH = 254  # ten dots a millimetre
DOTS_PER_MM = 10.0
DICTIONARIES = {"36h11": cv2.aruco.DICT_APRILTAG_36h11, "16h5": cv2.aruco.DICT_APRILTAG_16h5}


def rasterise(pdf: Path, page: int) -> npt.NDArray[np.uint8]:
    """A page as a grey picture with ten dots a millimetre."""
    stem = pdf.with_name(f"{pdf.stem}-page{page}")
    wanted = ["-r", str(DOTS_PER_INCH), "-f", str(page), "-l", str(page), "-gray", "-singlefile"]
    subprocess.run(["pdftoppm", *wanted, str(pdf), str(stem)], check=True, capture_output=True)
    picture = cv2.imread(str(stem.with_suffix(".pgm")), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    return np.asarray(picture, dtype=np.uint8)


def text_of(pdf: Path, page: int | None = None) -> str:
    pages = [] if page is None else ["-f", str(page), "-l", str(page)]
    done = subprocess.run(["pdftotext", "-raw", *pages, str(pdf), "-"], check=True, capture_output=True, text=True)
    return " ".join(done.stdout.split())


def sizes_of(pdf: Path) -> list[tuple[float, float]]:
    """Width and height of each page [mm]."""
    done = subprocess.run(["pdfinfo", "-l", "99", str(pdf)], check=True, capture_output=True, text=True)
    found = re.findall(r"Page +\d+ size: +([\d.]+) x ([\d.]+) pts", done.stdout)
    return [(float(w) / 72 * 25.4, float(h) / 72 * 25.4) for w, h in found]


def find_tags(picture: npt.NDArray[np.uint8], family: str = "36h11") -> dict[int, npt.NDArray[np.float64]]:
    options = cv2.aruco.DetectorParameters()
    options.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(DICTIONARIES[family]), options)
    quads, numbers, _ = detector.detectMarkers(picture)
    ids = [] if numbers is None else [int(n) for n in np.ravel(numbers)]
    return {i: np.asarray(quad, dtype=np.float64).reshape(4, 2) for i, quad in zip(ids, quads, strict=True)}


@pytest.fixture(scope="module")
def prints(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The set to begin with on each paper, and the set of a sample run."""
    folder = tmp_path_factory.mktemp("prints")
    settings = dict(mpl.rcParams)
    for name in ("a4", "letter", "a3"):
        print_targets(plan_by_hand(tags=1), folder / f"{name}.pdf", paper=name, only=("tags", "board"))
    print_targets(plan_from_sheet(load_run(SAMPLES / "flat-match").sheet), folder / "run.pdf")
    assert dict(mpl.rcParams) == settings
    return {path.stem: path for path in folder.glob("*.pdf")}


@needs_poppler
def test_page_sizes_are_those_of_the_paper(prints: dict[str, Path]) -> None:
    wanted = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a3": (297.0, 420.0)}
    for name, size in wanted.items():
        *upright, lying = sizes_of(prints[name])
        for found in upright:
            assert found == pytest.approx(size, abs=0.01)
        assert lying == pytest.approx(size[::-1], abs=0.01)


@needs_poppler
@pytest.mark.parametrize(("family", "side_mm"), [("36h11", 110.0), ("16h5", 73.5)])
def test_tags_have_their_true_size_and_lie_the_right_way_up(tmp_path: Path, family: str, side_mm: float) -> None:
    """Sides within 0.3 %; the corner that the detector calls first is the print's upper left, as docs/table.md says."""
    pdf = tmp_path / "tag.pdf"
    print_targets(plan_by_hand(tags=2, first_id=5, family=family, side_mm=side_mm), pdf, only=("tags",))
    for page, number in ((1, 5), (2, 6)):
        found = find_tags(rasterise(pdf, page), family)
        assert list(found) == [number]
        corners = found[number]
        sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1) / DOTS_PER_MM
        np.testing.assert_allclose(sides, side_mm, rtol=0.003)
        middle = corners.mean(axis=0)
        np.testing.assert_array_equal(np.sign(corners - middle), [[-1, -1], [1, -1], [1, 1], [-1, 1]])


@needs_poppler
def test_the_whole_black_square_is_as_long_as_the_sheet_says(prints: dict[str, Path]) -> None:
    """Counted in dark dots along its border, without any detector."""
    picture = rasterise(prints["run"], 2)
    corners = find_tags(picture)[0]
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
    inside = round(5 * DOTS_PER_MM)  # the border is 13.75 mm wide
    row = 255.0 - picture[int(top) + inside, int(left) - 100 : int(right) + 100]
    column = 255.0 - picture[int(top) - 100 : int(bottom) + 100, int(left) + inside]
    for line in (row, column):
        assert line.sum() / 255 / DOTS_PER_MM == pytest.approx(110.0, abs=0.1)


@needs_poppler
def test_the_white_rim_is_at_least_a_module_wide(prints: dict[str, Path]) -> None:
    picture = rasterise(prints["run"], 2)
    corners = find_tags(picture)[0]
    (left, top), (right, bottom) = corners.min(axis=0).astype(int), corners.max(axis=0).astype(int)
    module = int(110 / 8 * DOTS_PER_MM) - 3
    around = picture[top - module : bottom + module, left - module : right + module].copy()
    around[module - 3 : -module + 3, module - 3 : -module + 3] = 255
    assert around.min() > 250


@needs_poppler
@pytest.mark.parametrize(("paper", "square_mm"), [("a4", 25.0), ("letter", 25.0), ("a3", 30.0)])
def test_chessboard_squares_have_their_true_size(prints: dict[str, Path], paper: str, square_mm: float) -> None:
    pdf = prints[paper]
    picture = rasterise(pdf, len(sizes_of(pdf)))
    small = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    whole, corners = cv2.findChessboardCorners(small, (9, 6))
    assert whole
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-4)
    fine = cv2.cornerSubPix(small, corners, (11, 11), (-1, -1), stop).reshape(6, 9, 2) / (DOTS_PER_MM / 2)
    for axis in (0, 1):
        steps = np.linalg.norm(np.diff(fine, axis=axis), axis=-1)
        np.testing.assert_allclose(steps, square_mm, rtol=0.003)
    across = np.linalg.norm(fine[:, -1] - fine[:, 0], axis=-1)
    np.testing.assert_allclose(across, 8 * square_mm, rtol=0.001)


@needs_poppler
def test_every_page_carries_a_ruler_of_100_mm(prints: dict[str, Path]) -> None:
    for pdf in (prints["run"], prints["letter"]):
        for page in range(1, len(sizes_of(pdf)) + 1):
            picture = rasterise(pdf, page)
            height = 7 if sizes_of(pdf)[page - 1][0] > sizes_of(pdf)[page - 1][1] else 10
            line = picture.shape[0] - round((height + 1.5) * DOTS_PER_MM)
            darkness = 255.0 - picture[line, : int(115 * DOTS_PER_MM)]
            starts = np.flatnonzero((darkness[1:] > 60) & (darkness[:-1] <= 60)) + 1
            ticks = np.array([np.average(np.arange(s - 1, s + 3), weights=darkness[s - 1 : s + 3]) for s in starts])
            assert len(ticks) == 101, page
            np.testing.assert_allclose(np.diff(ticks) / DOTS_PER_MM, 1.0, atol=0.06)
            assert (ticks[-1] - ticks[0]) / DOTS_PER_MM == pytest.approx(100.0, abs=0.1)
            assert "If it is not 100 mm long" in text_of(pdf, page)


@needs_poppler
def test_discs_and_wraps_have_their_true_size(tmp_path: Path) -> None:
    pdf = tmp_path / "marks.pdf"
    print_targets(plan_by_hand(disc_mm=28, bead_mm=20), pdf, only=("discs", "beads"))
    stem = tmp_path / "colour"
    subprocess.run(["pdftoppm", "-r", str(DOTS_PER_INCH), "-png", str(pdf), str(stem)], check=True, capture_output=True)
    sizes = {}
    for page in (1, 2):
        picture = cv2.imread(f"{stem}-{page}.png")
        assert picture is not None
        red = np.all(np.abs(picture.astype(int) - (0x1E, 0x23, 0xD7)) < 40, axis=-1).astype(np.uint8)
        _, _, facts, _ = cv2.connectedComponentsWithStats(red)
        large = facts[1:][facts[1:, cv2.CC_STAT_AREA] > 1000]
        sizes[page] = large[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT, cv2.CC_STAT_AREA]] / DOTS_PER_MM
    assert len(sizes[1]) == 2
    np.testing.assert_allclose(sizes[1][:, :2], 28.0, atol=0.2)
    np.testing.assert_allclose(sizes[1][:, 2] / DOTS_PER_MM, np.pi * 14**2, rtol=0.005)  # a circle, not a square
    assert len(sizes[2]) == 8
    np.testing.assert_allclose(sizes[2][:, 0], np.pi * 20, atol=0.4)
    np.testing.assert_allclose(sizes[2][:, 1], 20.0, atol=0.4)


@needs_poppler
def test_a_run_s_own_marks_are_printed(prints: dict[str, Path]) -> None:
    pages = {kind: text_of(prints["run"], page) for kind, page in zip(KINDS, (1, 3, 6, 7, 8, 9), strict=True)}
    assert 'family = "36h11"' in pages["tags"]
    assert "centre_m = [1, 0.45]" in pages["tags"]
    assert "this edge towards −y" in pages["tags"]
    assert "heron.front" in pages["discs"]
    assert "green · ⌀ 28 mm" in pages["discs"]
    assert 'srgb = "#d71e8c"' in pages["discs"]
    assert "bead_14 · cyan · 1000 mm from heron" in pages["beads"]
    assert "56.5 mm of colour" in pages["beads"]
    assert "plover.wheel_2" in pages["rims"]
    assert "--square-mm 25" in pages["board"]


@needs_poppler
def test_the_card_is_one_page_and_says_what_matters(tmp_path: Path) -> None:
    for paper in PAPERS:
        pdf = tmp_path / f"{paper}.pdf"
        printed = print_targets(plan_by_hand(), pdf, paper=paper, only=("card",))
        assert printed.pages == {"card": 1}
        assert len(sizes_of(pdf)) == 1
        text = text_of(pdf)
        for wanted in (
            "60 pictures a second or more", "1/250 s", "Exposure and focus locked", "without flicker", "no zoom",
            "No stabilisation", "All tags whole", "Both machines", "The start", "2 s before", "2 s after", "Hands off",
            "guardians of minors", "Eye protection", "Batteries", "suction", "masses hang low", "supervisor",
            "1.7 m", "1.6 m", "35°", "on a stand",
        ):  # fmt: skip
            assert wanted in text, wanted


def test_the_phone_sees_the_whole_table_from_where_the_card_puts_it() -> None:
    """By a pinhole of our own here: all corners of the table lie inside a picture that is cropped by a tenth."""
    for length, width in ((2.4, 1.2), (1.6, 0.8), (2.0, 1.2), (3.0, 0.9)):
        table = plan_by_hand().table.model_copy(update={"length_m": length, "width_m": width})
        stand = choose_stand(table)
        assert 25 < stand.angle_deg < 45
        eye = np.array([0.0, -width / 2 - stand.out_m, stand.height_m])
        down = np.deg2rad(stand.angle_deg)
        forward, up = np.array([0, np.cos(down), -np.sin(down)]), np.array([0, np.sin(down), np.cos(down)])
        for x in (-length / 2, length / 2):
            for y in (-width / 2, width / 2):
                ray = np.array([x, y, 0.0]) - eye
                column, row = 0.77 * ray[0] / (ray @ forward), 0.77 * (ray @ up) / (ray @ forward)
                assert abs(column) < 0.45
                assert abs(row) < 0.45 * 9 / 16


def test_rim_dots_turn_the_way_the_sheet_counts() -> None:
    """Forward is to the left for somebody at the machine's left side; a quarter turn on from forward is up."""
    for left, forward in ((True, -1.0), (False, 1.0)):
        rim = RimPrint("wheel", 45.0, left, ())
        np.testing.assert_allclose(place_dot(rim, 29.0, 0.0), (29.0 * forward, 0.0), atol=1e-9)
        np.testing.assert_allclose(place_dot(rim, 29.0, 90.0), (0.0, 29.0), atol=1e-9)


def test_directions_on_a_tag_agree_with_the_table_s_corners() -> None:
    """The print's right side points where the table's layout puts it, for tags turned by quarter turns."""
    names = {(1, 0): "+x", (0, 1): "+y", (-1, 0): "−x", (0, -1): "−y"}
    for angle in (0.0, 90.0, 180.0, 270.0, -90.0):
        tag = Tag(id=0, side_m=0.1, centre_m=(0.0, 0.0), angle_deg=angle)
        upper_left, upper_right, _, lower_left = lay_out_tags(
            plan_by_hand().table.model_copy(update={"tag": (tag,)})
        ).corners_m[0]
        right, below = np.rint((upper_right - upper_left) * 10), np.rint((lower_left - upper_left) * 10)
        assert name_direction(angle) == names[(int(right[0]), int(right[1]))]
        assert name_direction(angle - 90) == names[(int(below[0]), int(below[1]))]
    assert name_direction(30) == "30° from +x towards +y"


def test_default_colours_stay_apart_in_chroma() -> None:
    """At least 35° between any two, so that a lamp may turn each by half of that."""
    for matrix in ("bt601", "bt709"):
        chroma = {name: chroma_of(code, matrix, False) for name, code in COLOURS.items()}
        for one, other in combinations(chroma.values(), 2):
            cosine = one @ other / np.linalg.norm(one) / np.linalg.norm(other)
            assert np.degrees(np.arccos(cosine)) > 35
        assert min(np.linalg.norm(c) for c in chroma.values()) > 50


def turn_tags(plan: TargetPlan) -> TargetPlan:
    """The plan with its tags lying every which way, and half as large."""
    turned = tuple(
        replace(printed, tag=printed.tag.model_copy(update={"angle_deg": angle, "side_m": 0.05}))
        for printed, angle in zip(plan.tags, (30.0, 90.0, 180.0, -37.5), strict=True)
    )
    return replace(plan, tags=turned)


def draw_all(plan: TargetPlan, paper: str) -> Iterator[Page]:
    sheet = PAPERS[paper]
    yield draw_card_page(plan, sheet)
    yield draw_board_page(sheet, 25.0)
    for draw in (draw_tag_pages, draw_disc_pages, draw_wrap_pages, draw_rim_pages):
        yield from draw(plan, sheet)


@pytest.mark.parametrize(
    ("run", "paper"), [("", "a4"), ("", "letter"), ("small", "letter"), ("turned", "a4"), ("sled-link", "a4")]
)
def test_texts_stay_on_the_paper_and_off_each_other(run: str, paper: str) -> None:
    if run in ("", "small"):
        plan = plan_by_hand(side_mm=30 if run else 110, disc_mm=12 if run else 28, bead_mm=14 if run else 18)
    elif run == "turned":
        plan = turn_tags(plan_from_sheet(load_run(SAMPLES / "flat-match").sheet))
    else:
        plan = plan_from_sheet(load_run(SAMPLES / run).sheet)
    with mpl.rc_context(_PRINT_STYLE):
        for page in draw_all(plan, paper):
            FigureCanvasAgg(page.figure)  # measures the texts
            dots = page.figure.dpi / 25.4
            boxes = [(t.get_text(), t.get_window_extent()) for t in page.axes.texts if t.get_text()]
            for text, box in boxes:
                assert box.x0 / dots > 5, text
                assert box.x1 / dots < page.paper.width_mm - 5, text
                assert box.y0 / dots > 5, text
            for (one, a), (other, b) in combinations(boxes, 2):
                apart_x = max(a.x0, b.x0) - min(a.x1, b.x1)
                apart_y = max(a.y0, b.y0) - min(a.y1, b.y1)
                assert apart_x > -0.3 * dots or apart_y > -0.8 * dots, (one, other)


@needs_poppler
def test_viewers_are_asked_not_to_scale(prints: dict[str, Path], tmp_path: Path) -> None:
    """The wish stands in the catalogue that readers use, and they still read the file without complaint."""
    content = prints["a4"].read_bytes()
    assert content.count(b"/PrintScaling /None") == 1
    done = subprocess.run(["pdfinfo", str(prints["a4"])], check=True, capture_output=True, text=True)
    assert done.stderr == ""
    start = int(content.rsplit(b"startxref\n", 1)[1].split(b"\n")[0])
    table = content[start:].split(b"\n")
    assert table[0] == b"xref"
    place = int(table[2].split()[0])
    assert content[place:].startswith(b"1 0 obj\n<< /Type /Catalog /Pages 2 0 R /ViewerPreferences")
    assert _ask_for_true_size(b"no such thing") == b"no such thing"


def test_the_same_wish_gives_the_same_file(tmp_path: Path) -> None:
    for name in ("one", "two"):
        print_targets(plan_by_hand(), tmp_path / name, only=("rims",))
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


def test_names_in_any_letters_are_printed(tmp_path: Path) -> None:
    sheet = load_run(SAMPLES / "flat-match").sheet
    named = sheet.model_copy(update={"run": sheet.run.model_copy(update={"name": "稽古 $3$ «drei»"})})
    assert print_targets(plan_from_sheet(named), tmp_path / "t.pdf", only=("card",)).pages == {"card": 1}


def test_many_marks_take_several_pages(tmp_path: Path) -> None:
    sheet = load_run(SAMPLES / "flat-match").sheet
    assert sheet.rope is not None
    beads = sheet.rope.beads * 3
    many = sheet.model_copy(update={"rope": sheet.rope.model_copy(update={"beads": beads})})
    printed = print_targets(plan_from_sheet(many), tmp_path / "t.pdf", only=("beads",))
    assert printed.pages == {"beads": 3}


def test_what_does_not_fit_is_refused_and_nothing_is_left_behind(tmp_path: Path) -> None:
    too_large = {
        "tags": plan_by_hand(side_mm=170), "discs": plan_by_hand(disc_mm=180), "beads": plan_by_hand(bead_mm=70),
    }  # fmt: skip
    for kind, plan in too_large.items():
        with pytest.raises(OutputError, match="at true size, and A4 has room for"):
            print_targets(plan, tmp_path / "t.pdf", only=(kind,))
    with pytest.raises(OutputError, match="squares of 30 mm"):
        print_targets(plan_by_hand(), tmp_path / "t.pdf", only=("board",), square_mm=30)
    with pytest.raises(TableError, match="ends at 29"):
        print_targets(plan_by_hand(family="16h5", first_id=28), tmp_path / "t.pdf", only=("tags",))
    assert list(tmp_path.iterdir()) == []
    print_targets(plan_by_hand(side_mm=170, tags=1), tmp_path / "t.pdf", paper="a3", only=("tags",))
    assert [path.name for path in tmp_path.iterdir()] == ["t.pdf"]


def test_only_earlier_prints_are_replaced(tmp_path: Path) -> None:
    path = tmp_path / "targets.pdf"
    print_targets(plan_by_hand(), path, only=("card",))
    print_targets(plan_by_hand(), path, only=("board",))
    path.write_bytes(b"%PDF-1.4 somebody's thesis")
    with pytest.raises(OutputError, match="none of our prints"):
        print_targets(plan_by_hand(), path, only=("card",))
    assert path.read_bytes() == b"%PDF-1.4 somebody's thesis"
    with pytest.raises(OutputError, match="a folder"):
        print_targets(plan_by_hand(), tmp_path, only=("card",))


def test_what_the_sheet_lacks_is_said(tmp_path: Path) -> None:
    sheet = load_run(SAMPLES / "flat-match").sheet.model_copy(update={"rope": None, "machine": {}})
    plan = plan_from_sheet(sheet)
    printed = print_targets(plan, tmp_path / "t.pdf", only=("card", "beads", "rims"))
    assert printed.pages == {"card": 1}
    assert len(printed.missing) == 2
    with pytest.raises(OutputError, match=r"nothing to print\. The sheet puts no beads on the rope"):
        print_targets(plan, tmp_path / "u.pdf", only=("beads",))
