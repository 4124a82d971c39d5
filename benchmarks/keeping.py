"""What a long study has judged is kept until the program that it rests on changes: one broken off goes on."""

import hashlib
import pickle
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Final, TypeVar

Outcome = TypeVar("Outcome")

ROOT: Final = Path(__file__).resolve().parents[1]
#: What every measure of a run rests on, beside what its footage gave.
MEASURING: Final = (
    "matchvision/geometry", "matchvision/grip", "matchvision/mechanics/grip.py", "matchvision/mechanics/motor.py",
    "matchvision/mechanics/traction.py", "matchvision/motion", "matchvision/pull", "matchvision/uncertainty",
    "tests/engine", "tests/following.py", "tests/filmed_points.py",
)  # fmt: skip


def once(folder: Path, rests_on: tuple[str, ...], name: str, judge: Callable[[], Outcome]) -> Outcome:
    """An outcome as kept in ``folder`` for this state of the program, else judged and kept."""
    kept = folder / state_of_program(rests_on) / f"{name}.pickle"
    if kept.exists():
        before: Outcome = pickle.loads(kept.read_bytes())
        return before
    outcome = judge()
    kept.parent.mkdir(parents=True, exist_ok=True)
    unfinished = kept.with_suffix(".part")
    unfinished.write_bytes(pickle.dumps(outcome))
    unfinished.rename(kept)
    return outcome


@cache
def state_of_program(rests_on: tuple[str, ...], root: Path = ROOT) -> str:
    """A short name for the state of the files and folders that something rests on, as when it was first asked for.

    A running study is not touched by what changes on the disk meanwhile.
    """
    digest = hashlib.sha256()
    for place in rests_on:
        path = root / place
        for file in [path] if path.is_file() else sorted(path.rglob("*.py")):
            digest.update(file.read_bytes())
    return digest.hexdigest()[:12]
