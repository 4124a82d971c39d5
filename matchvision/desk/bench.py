"""The work on one run at the desk: what is known, and what each of a person's actions changes."""

from functools import partial
from pathlib import Path
from typing import Any

from matchvision.desk.asking import (
    Declare,
    Follow,
    ForgetColour,
    Look,
    Point,
    SetMends,
    SetPoints,
    SetStart,
    SetTags,
    ShowColour,
    Withdraw,
)
from matchvision.desk.calibrating import describe_camera, describe_leant, describe_tags, find_camera
from matchvision.desk.clipbook import ClipBook
from matchvision.desk.colouring import Mask, find_neutral, learn_patch, mask_picture
from matchvision.desk.declaring import declare_marker, propose_marker, withdraw_marker
from matchvision.desk.following import camera_at, describe_tracks, find_markers, follow, known_part
from matchvision.desk.guessing import guess_colours
from matchvision.desk.keeping import Folder
from matchvision.desk.running import Tell, Work, analyze_run
from matchvision.desk.telling import describe_run
from matchvision.errors import MarkerError, OutputError, TableError
from matchvision.footage import read_facts
from matchvision.markers import outline_table, plan_markers
from matchvision.records.mends import Mends
from matchvision.records.sheet import TablePoint
from matchvision.records.tracks import Tracks
from matchvision.sheets import refuse_wanting
from matchvision.sheets.mends import check_mends


class Bench:
    """A run on the desk.

    Parameters
    ----------
    path : Path
        The run sheet, or the folder that holds it.
    out : Path or None
        Where the results go; ``outputs/NAME OF THE RUN`` if not given.

    Raises
    ------
    SheetError, FootageError
    """

    def __init__(self, path: Path, out: Path) -> None:
        self.folder = Folder(path)
        self.out = out
        run = self.folder.draft.run
        clock = run.sheet.clock
        self.book = ClipBook(read_facts(run.clip), clock.from_s, clock.until_s)
        self.preview, self.analysis = Work(), Work()
        self.verdict = ""
        #: Colours that were guessed from their names and that nobody has clicked yet.
        self.guessed: frozenset[str] = frozenset()

    def state(self) -> dict[str, Any]:
        """Everything that the page shows but the camera."""
        version = self.folder.version
        return {"version": version, **describe_run(self.folder.draft, self.book, self.guessed)}

    def camera(self) -> dict[str, Any]:
        """The camera that the sheet gives as it stands."""
        return describe_camera(self.book, self.folder.draft.run)

    def tags(self) -> dict[str, Any]:
        """Tags in view and those that the sheet lists."""
        return {"tags": describe_tags(self.book, self.folder.draft.run)}

    def set_points(self, asked: SetPoints) -> dict[str, Any]:
        """Try table points, or keep them; the camera that follows."""
        points = [TablePoint.model_validate(point.model_dump()) for point in asked.points]
        if not asked.keep and (leant := describe_leant(self.book, self.folder.draft.run, points)) is not None:
            return leant
        if asked.keep:
            table = {"point": [point.model_dump(mode="json") for point in points]}
            self.folder.keep({"table": table})
        return describe_camera(self.book, self.folder.draft.run, points)

    def set_tags(self, asked: SetTags) -> dict[str, Any]:
        """Keep which tags count; the camera that follows."""
        tags = None
        if asked.tags is not None:
            tags = [tag.model_dump(mode="json", exclude_none=True) for tag in asked.tags]
        self.folder.keep({"table": {"tag": tags}})
        return self.camera()

    def set_start(self, asked: SetStart) -> dict[str, Any]:
        """Keep when the match starts."""
        self.folder.keep({"clock": {"start_s": asked.start_s}})
        return self.state()

    def show_colour(self, asked: ShowColour) -> dict[str, Any]:
        """Learn a marker's colour from a click."""
        sheet = self.folder.draft.run.sheet
        if asked.name not in sheet.colour:
            raise MarkerError(f'no marker of this run wears "{asked.name}"', do="name its colour in the sheet first")
        frame = self.book.frame(asked.number)
        over = self._over_table()
        srgb = learn_patch(frame, asked.pixel, self.book.facts, find_neutral(frame, over))
        former = sheet.colour[asked.name]
        if asked.more and asked.name not in (*self.folder.draft.unknown_colours, *self.guessed):
            colour: dict[str, Any] = {"srgb": former.srgb, "samples": [*former.samples, srgb]}
        else:
            colour = {"srgb": srgb, "samples": None}
        self.folder.keep({"colour": {asked.name: colour}})
        self.guessed -= {asked.name}
        return self.state()

    def guess_colours(self, asked: Look) -> dict[str, Any]:
        """Guess from their names what colours look like of which nothing else is known."""
        draft, frame = self.folder.draft, self.book.frame(asked.number)
        run = known_part(draft)
        camera = camera_at(self.book, run, frame)
        over, plans = outline_table(camera, run.sheet.table), plan_markers(draft.run)
        found = guess_colours(frame, self.book.facts, camera, over, draft.unknown_colours, run.sheet.colour, plans)
        if found:
            self.guessed |= found.keys()
            self.folder.keep({"colour": {name: {"srgb": srgb} for name, srgb in found.items()}})
        return self.state()

    def forget_colour(self, asked: ForgetColour) -> dict[str, Any]:
        """Let a colour be as the sheet has it."""
        self.folder.keep({"colour": {asked.name: None}})
        self.guessed -= {asked.name}
        return self.state()

    def mask(self, number: int) -> bytes:
        """What counts as one of the known colours in a picture."""
        colours = known_part(self.folder.draft).sheet.colour
        return mask_picture(self.book.frame(number), self.book.facts, colours, self._over_table())

    def _over_table(self) -> Mask | None:
        """Where in the picture anything stands over the table; None where the camera is not known or moves."""
        run = self.folder.draft.run
        if run.sheet.camera.moves:
            return None
        try:
            view, _ = find_camera(self.book, run)
        except TableError:
            return None
        return outline_table(view.camera, run.sheet.table)

    def look(self, asked: Look) -> dict[str, Any]:
        """Find and name the markers in a picture."""
        return find_markers(self.book, known_part(self.folder.draft), asked.number)

    def propose(self, asked: Point) -> dict[str, Any]:
        """What the picture says of a marker that the sheet does not name."""
        return propose_marker(self.book, known_part(self.folder.draft), asked.number, asked.pixel)

    def declare(self, asked: Declare) -> dict[str, Any]:
        """Keep a marker that the sheet does not name, with its colour where nobody has shown that."""
        frame = self.book.frame(asked.number)
        srgb = learn_patch(frame, asked.pixel, self.book.facts, find_neutral(frame, self._over_table()))
        self.folder.keep(declare_marker(self.folder.draft, asked, srgb))
        return self.state()

    def withdraw(self, asked: Withdraw) -> dict[str, Any]:
        """Take back a marker that was declared here."""
        self.folder.keep(withdraw_marker(self.folder.draft, asked.name))
        return self.state()

    def turn_rope(self) -> dict[str, Any]:
        """Let the rope's arc length count from its other end."""
        rope = self.folder.draft.run.sheet.rope
        if rope is None:
            raise MarkerError("the sheet describes no rope", do="describe it in [rope]")
        self.folder.keep({"rope": {"ends": [rope.ends[1], rope.ends[0]]}})
        return self.state()

    def begin_preview(self, asked: Follow) -> dict[str, Any]:
        """Follow the markers over two seconds, or over the whole run."""
        run = known_part(self.folder.draft)

        def work(tell: Tell) -> Tracks:
            counted = partial(tell, "following")
            return follow(self.book, run, asked.number, counted, whole=asked.whole)

        if not self.preview.start(work):
            raise OutputError("a preview is being made already", do="wait until it is there")
        return self.preview.describe()

    def previewed(self) -> dict[str, Any]:
        """How far the preview is; its tracks, with the mends as they stand."""
        answer = self.preview.describe()
        if self.preview.state == "done":
            draft = self.folder.draft
            answer["tracks"] = describe_tracks(self.preview.result, draft.run.mends, draft.run.sheet)
        return answer

    def set_mends(self, asked: SetMends) -> dict[str, Any]:
        """Keep mends, all of them, in their order."""
        mends = Mends(clip_sha256=self.book.facts.sha256, mend=asked.mend)
        check_mends(mends, self.folder.draft.run.sheet, self.folder.draft.mends.name)
        self.folder.keep_mends(mends)
        return self.previewed()

    def begin_analysis(self) -> dict[str, Any]:
        """Run the whole analysis on the run as it stands on disk."""
        refuse_wanting(self.folder.draft)
        self.verdict = ""

        def work(tell: Tell) -> str:
            return analyze_run(self.folder.path, self.out, tell, self._answer)

        if not self.analysis.start(work):
            raise OutputError("the analysis is running already", do="wait until it is done")
        return self.analyzed()

    def _answer(self, sentence: str) -> None:
        self.verdict = sentence

    def analyzed(self) -> dict[str, Any]:
        """How far the analysis is, and the verdict once it is there."""
        return {**self.analysis.describe(), "verdict": self.verdict, "out": str(self.out)}
