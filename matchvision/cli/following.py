"""What follows the causes: what would have won."""

from pathlib import Path
from typing import TYPE_CHECKING

from matchvision.cli.showing import StageTeller, say

if TYPE_CHECKING:
    from matchvision.records.results import CauseRow, Grounds
    from matchvision.records.sheet import Run


def add_what_would_have_won(
    run: "Run",
    grounds: "Grounds",
    causes: "tuple[CauseRow, ...]",
    folder: Path,
    told: StageTeller | None = None,
    *,
    quiet: bool,
) -> None:
    """Seek what would have won, add it to the results and tell it; nothing where nobody can have lost."""
    if run.sheet.run.kind != "match" or grounds.ruling is None or grounds.ruling.winner is None:
        return
    from matchvision import pipeline
    from matchvision.writing.remedying import add_remedies

    remedies, note = pipeline.find_remedies(run, grounds, causes)
    if told is not None:
        told(note)
    add_remedies(folder, remedies, note)
    if remedies is not None:
        say(remedies.sentence, quiet=quiet)
