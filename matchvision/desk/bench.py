"""The work on one run at the desk: what is known, and what each of a person's actions changes."""

from pathlib import Path
from typing import Any

from matchvision.desk.asking import SetPoints, SetStart, SetTags
from matchvision.desk.calibrating import describe_camera, describe_tags
from matchvision.desk.clipbook import ClipBook
from matchvision.desk.keeping import Folder
from matchvision.desk.telling import describe_run
from matchvision.footage import read_facts
from matchvision.records.sheet import TablePoint


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

    def state(self) -> dict[str, Any]:
        """Everything that the page shows but the camera."""
        return describe_run(self.folder.draft, self.book)

    def camera(self) -> dict[str, Any]:
        """The camera that the sheet gives as it stands."""
        return describe_camera(self.book, self.folder.draft.run)

    def tags(self) -> dict[str, Any]:
        """Tags in view and those that the sheet lists."""
        return {"tags": describe_tags(self.book, self.folder.draft.run)}

    def set_points(self, asked: SetPoints) -> dict[str, Any]:
        """Try table points, or keep them; the camera that follows."""
        points = [TablePoint.model_validate(point.model_dump()) for point in asked.points]
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
