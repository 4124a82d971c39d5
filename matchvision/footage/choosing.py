"""Which of the sounds that set in starts the match, and when the signal was given."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.errors import CannotMeasure
from matchvision.footage.sound import SoundOnset, find_sound_onsets
from matchvision.records.frames import ClipFacts
from matchvision.records.motion import StartSignal

#: The start signal is louder than any other sound by so much; sounds that differ by less are about as loud [dB].
LOUDER_DB: Final = 6.0
#: Sound takes 2.9 ms a metre at 20 °C; the signal is taken to come from up to 3 m farther than the machines' commands.
TRAVEL_S_PER_M: Final = 1 / 343.2
FARTHEST_M: Final = 3.0
#: A phone's sound lies off its pictures by anything up to this where nobody has measured it [s]. A guess (common
#: practice, no source): sound that is farther off is noticed on people who speak.
USUAL_DELAY_S: Final = 0.040
_MOST_LISTED: Final = 8


def hear_start(
    facts: ClipFacts,
    from_s: float | None = None,
    until_s: float | None = None,
    *,
    number: int | None = None,
    delay_s: tuple[float, float] | None = None,
) -> StartSignal:
    """The start signal: the one sound that is clearly louder than every other that sets in, or one of a countdown.

    Parameters
    ----------
    from_s, until_s : float, optional
        The run's part of the clip [s, clip time].
    number : int, optional
        Which of the loud sounds it is: 1 the first, −1 the last.
    delay_s : (float, float), optional
        How much later than its pictures the clip's sound is, and u [s]; see `USUAL_DELAY_S`.

    Raises
    ------
    CannotMeasure
        There is no sound, none sets in clearly, several do that are about as loud and no number says which one starts
        the match, or there are fewer than the number asks for; they are listed with their times.

    Notes
    -----
    The sound's way from its source to the camera (2.9 ms a metre) is not taken off, as it is not known; up to 3 m of
    it go into u. So does the delay, as a rectangle of ± 40 ms where it is not given.
    Checked by: tests/footage/test_sound.py::test_one_of_a_countdown_starts_the_match
    """
    onsets = find_sound_onsets(facts, from_s, until_s)
    chosen = choose_onset(onsets, number)
    late_s, u_late_s = (0.0, USUAL_DELAY_S / np.sqrt(3)) if delay_s is None else delay_s
    travel_s = FARTHEST_M * TRAVEL_S_PER_M / np.sqrt(12)
    loud = list_loud(onsets)
    which = f" ({loud.index(chosen) + 1} of {len(loud)} about as loud)" if len(loud) > 1 else ""
    return StartSignal(
        chosen.clip_s - late_s,
        float(np.sqrt(chosen.u_s**2 + travel_s**2 + u_late_s**2)),
        f"the start sound{which}",
    )


def list_loud(onsets: Sequence[SoundOnset]) -> list[SoundOnset]:
    """Those about as loud as the loudest, in order of time."""
    return [onset for onset in onsets if onset.loudness_dB > -LOUDER_DB]


def choose_onset(onsets: Sequence[SoundOnset], number: int | None) -> SoundOnset:
    """The start among a part's sounds.

    Raises
    ------
    CannotMeasure
    """
    if not onsets:
        raise CannotMeasure(
            "no sound in the clip sets in clearly enough to be the start signal",
            do="look up the clip time of the start signal and give it as [clock] start_s",
        )
    loud = list_loud(onsets)
    if number is not None:
        if abs(number) <= len(loud):
            return loud[number - 1 if number > 0 else number]
        quieter = [onset for onset in onsets if onset not in loud]
        beside = f"; quieter ones at {_list_times(quieter)}" if quieter else ""
        told = f"{len(loud)} sounds are" if len(loud) > 1 else "one sound is"
        raise CannotMeasure(
            f"sound_number = {number} asks for more sounds than there are: {told} about as loud as the loudest, at "
            f"{_list_times(loud)}{beside}",
            do="count only sounds as loud as the loudest in this run's part of the clip (from_s, until_s), or give the "
            "start's clip time as [clock] start_s",
        )
    if len(loud) > 1:
        raise CannotMeasure(
            f"{len(loud)} sounds are about as loud and any could be the start signal: at {_list_times(loud)}",
            do="say which of them it is with [clock] sound_number (1 the first, -1 the last), or give its time as "
            "start_s",
        )
    return loud[0]


def _list_times(onsets: Sequence[SoundOnset]) -> str:
    return ", ".join(f"{o.clip_s:.3f} s" for o in onsets[:_MOST_LISTED]) + (" …" if len(onsets) > _MOST_LISTED else "")
