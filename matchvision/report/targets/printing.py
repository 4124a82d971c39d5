"""All pages into one PDF, whole or not at all."""

import io
import os
import tempfile
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import matplotlib as mpl
from matplotlib.backends.backend_pdf import PdfPages

from matchvision.errors import OutputError
from matchvision.report.style import STYLE
from matchvision.report.targets.board import draw_board_page, usual_square_mm
from matchvision.report.targets.card import draw_card_page
from matchvision.report.targets.discs import draw_disc_pages, draw_wrap_pages
from matchvision.report.targets.paper import PAPERS, Page, Paper, number_page
from matchvision.report.targets.planning import KINDS, TargetPlan
from matchvision.report.targets.rims import draw_rim_pages
from matchvision.report.targets.tags import draw_tag_pages

#: Written into the PDF, and what tells our own earlier prints from other people's files.
_CREATOR: Final = "matchvision targets"
#: Fonts go in as fonts, so that text stays text; nothing may trim the page.
_PRINT_STYLE: Final = {**STYLE, "pdf.fonttype": 42, "savefig.bbox": "standard", "savefig.facecolor": "none"}


@dataclass(frozen=True)
class Printed:
    """What came out: pages by kind in their order, and what the sheet holds nothing of."""

    path: Path
    pages: dict[str, int]
    missing: tuple[str, ...]


def print_targets(
    plan: TargetPlan, path: Path, *, paper: str = "a4", only: Sequence[str] = KINDS, square_mm: float | None = None
) -> Printed:
    """Draw the pages and write them as one PDF at true size.

    Parameters
    ----------
    plan : TargetPlan
    path : Path
        An earlier print of ours is replaced, any other file is left as it is.
    paper : "a4", "letter" or "a3"
    only : some of `KINDS`
    square_mm : float or None
        Side of the chessboard's squares; None takes what suits the paper.

    Raises
    ------
    OutputError
        When something does not fit the paper at true size, nothing is left to print, or the file cannot be written.
    TableError
        For a tag that its family does not have.

    Notes
    -----
    Checked by: tests/report/test_targets.py::test_page_sizes_are_those_of_the_paper
    """
    _refuse_foreign(path)
    sheet = PAPERS[paper]
    missing = tuple(plan.missing[k] for k in (*KINDS, "spheres") if k in plan.missing and (k in only or k == "spheres"))
    with mpl.rc_context(_PRINT_STYLE), warnings.catch_warnings():
        # A name in letters that the font lacks is printed with boxes; that is no matter for the terminal.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        pages = [page for kind in KINDS if kind in only for page in _draw(kind, plan, sheet, square_mm)]
        if not pages:
            raise OutputError(
                "there is nothing to print. " + " ".join(missing),
                do="add it to the sheet, or leave the sheet away to get a set to begin with",
            )
        for number, page in enumerate(pages, 1):
            number_page(page, number, len(pages))
        content = _bind(pages, plan)
    _write_whole(path, content)
    counts = {kind: sum(page.kind == kind for page in pages) for kind in KINDS}
    return Printed(path, {kind: count for kind, count in counts.items() if count}, missing)


def _draw(kind: str, plan: TargetPlan, paper: Paper, square_mm: float | None) -> list[Page]:
    if kind == "card":
        return [draw_card_page(plan, paper)]
    if kind == "board":
        return [draw_board_page(paper, square_mm if square_mm is not None else usual_square_mm(paper))]
    draw = {"tags": draw_tag_pages, "discs": draw_disc_pages, "beads": draw_wrap_pages, "rims": draw_rim_pages}[kind]
    return draw(plan, paper)


def _bind(pages: list[Page], plan: TargetPlan) -> bytes:
    buffer = io.BytesIO()
    title = f"Targets for {plan.of}" if plan.of else "Targets"
    # Without a date the same wish gives the same file.
    with PdfPages(buffer, metadata={"Creator": _CREATOR, "Title": title, "CreationDate": None}) as pdf:
        for page in pages:
            pdf.savefig(page.figure)
    return _ask_for_true_size(buffer.getvalue())


def _ask_for_true_size(content: bytes) -> bytes:
    """Add to the PDF's catalogue that viewers should not offer to scale the print.

    Notes
    -----
    ISO 32000-1, 7.5.6 (incremental update: the catalogue is written again at the end) and table 150 (PrintScaling).
    A file whose catalogue does not look as expected is left as it is: the ruler tells.
    Checked by: tests/report/test_targets.py::test_viewers_are_asked_not_to_scale
    """
    catalogue = b"1 0 obj\n<< /Type /Catalog /Pages 2 0 R >>\nendobj\n"
    head, _, tail = content.rpartition(b"trailer\n")
    lines = tail.split(b"startxref\n")
    if catalogue not in content or not head or len(lines) != 2 or b"/Root 1 0 R" not in lines[0]:
        return content
    former = lines[1].split(b"\n")[0]
    asked = catalogue.replace(b" >>", b" /ViewerPreferences << /PrintScaling /None >> >>")
    at = len(content)
    table = f"xref\n1 1\n{at:010d} 00000 n \n".encode("ascii")
    trailer = lines[0].rstrip().removesuffix(b">>") + b"/Prev " + former + b" >>\n"
    start = str(at + len(asked)).encode("ascii")
    return content + asked + table + b"trailer\n" + trailer + b"startxref\n" + start + b"\n%%EOF\n"


def _refuse_foreign(path: Path) -> None:
    if path.is_dir():
        raise OutputError("this is a folder", where=str(path), do="name a file with --out, as in --out targets.pdf")
    if path.exists() and f"/Creator ({_CREATOR})".encode() not in path.read_bytes():
        raise OutputError(
            "this file is none of our prints and is left as it is", where=str(path), do="choose another name with --out"
        )


def _write_whole(path: Path, content: bytes) -> None:
    """Under another name first, so that the file is there whole or not at all."""
    unfinished = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as file:
            unfinished = Path(file.name)
            file.write(content)
        mask = os.umask(0)
        os.umask(mask)
        unfinished.chmod(0o666 & ~mask)
        unfinished.replace(path)
    except OSError as reason:
        raise OutputError(
            f"the print cannot be written ({reason.strerror or reason})",
            where=str(path),
            do="check free space and your rights there, or choose another place with --out",
        ) from reason
    finally:
        if unfinished is not None:
            unfinished.unlink(missing_ok=True)
