"""Names of runs as names of folders."""

import re
from typing import Final

_UNFIT: Final = re.compile(r'[\\/:*?"<>|\x00-\x1f]+')


def name_folder(run_name: str) -> str:
    """A run's name as the name of a folder: as it is, but for what folders cannot be called."""
    return _UNFIT.sub("-", run_name).strip(" .") or "run"
