"""What the desk keeps in the run's folder: what it has learnt, in a file of its own beside the sheet."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from matchvision.records.mends import Mends
from matchvision.sheets import Draft, check_draft, load_draft
from matchvision.sheets.beside import format_toml, write_whole
from matchvision.sheets.mends import write_mends

_HEAD: Final = (
    "# Written at the desk and laid over {sheet}, where both say something. The desk writes this file anew whenever\n"
    "# it is shown something; what you want to keep by hand belongs into {sheet}. To go back, take this file away.\n\n"
)


class Folder:
    """A run's folder as the desk sees it. Everything is read from disk and written there at once.

    Parameters
    ----------
    path : Path
        The run sheet, or the folder that holds it.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.draft: Draft = load_draft(path)
        #: Grows with everything that is kept, so that an answer can be told from a newer one that overtook it.
        self.version = 0

    def keep(self, changes: Mapping[str, Any]) -> None:
        """Lay changes over what the desk has learnt and write it, if the whole sheet still makes sense with it.

        Tables are joined key by key; None takes a key away, and an array replaces the former one.

        Raises
        ------
        SheetError
            Where the sheet would have faults; nothing is written then.
        OutputError
        """
        learnt = _lay_over(self.draft.kept, changes)
        check_draft(self.draft, learnt)
        if learnt:
            text = _HEAD.format(sheet=self.draft.sheet.name) + format_toml(learnt)
            write_whole(self.draft.learnt, text)
        else:
            self.draft.learnt.unlink(missing_ok=True)
        self.draft = load_draft(self.draft.sheet)
        self.version += 1

    def keep_mends(self, mends: Mends) -> None:
        """Write the mends by hand.

        Raises
        ------
        OutputError
        """
        write_mends(self.draft.mends, mends)
        self.draft = load_draft(self.draft.sheet)
        self.version += 1


def _lay_over(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    laid = dict(below)
    for key, value in above.items():
        under = laid.get(key)
        if value is None:
            laid.pop(key, None)
        elif isinstance(value, Mapping):
            inner = _lay_over(under if isinstance(under, Mapping) else {}, value)
            if inner:
                laid[key] = inner
            else:
                laid.pop(key, None)
        else:
            laid[key] = [dict(v) if isinstance(v, Mapping) else v for v in value] if _is_array(value) else value
    return laid


def _is_array(value: object) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str)
