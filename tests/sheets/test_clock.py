"""The keys of the start sound: what goes together, and what is refused."""

from pathlib import Path

import pytest

from matchvision.errors import SheetError
from matchvision.sheets import load_run

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "flat-match"


def write(folder: Path, clock: str) -> Path:
    text = (SAMPLE / "run.toml").read_text(encoding="utf-8")
    text = text.replace('clip = "clip.mp4"', f'clip = "{(SAMPLE / "clip.mp4").as_posix()}"')
    text = text.replace("start_s = 1.18\n", clock)
    (folder / "run.toml").write_text(text, encoding="utf-8")
    return folder


def test_a_countdown_and_a_delay_are_read(tmp_path: Path) -> None:
    clock = 'start = "sound"\nsound_number = -1\nsound_delay_s = { value = 0.03, u = 0.005 }\n'
    read = load_run(write(tmp_path, clock)).sheet.clock
    assert read.sound_number == -1
    assert read.sound_delay_s is not None
    assert (read.sound_delay_s.value, read.sound_delay_s.u) == (0.03, 0.005)


@pytest.mark.parametrize(
    ("clock", "said"),
    [
        ('start = "sound"\nsound_number = 0\n', "counts from 1 for the first sound"),
        ('start = "first-motion"\nsound_number = 2\n', "says which sound starts the match"),
        ('start = "sound"\nsound_number = 1.5\n', "sound_number"),
    ],
)
def test_a_number_that_names_no_sound_is_refused(tmp_path: Path, clock: str, said: str) -> None:
    with pytest.raises(SheetError) as caught:
        load_run(write(tmp_path, clock))
    assert said in str(caught.value)
