"""Whether a camera that is said to stand still did: every tag's place in each of the first look's pictures."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from matchvision.arrays import FloatArray
from matchvision.records.frames import Frame
from matchvision.records.results import Contradiction
from matchvision.table.sighting import sight_edges
from matchvision.table.tags import TagLayout, TagName

#: A picture that lies off by more than this share of its width belongs to a camera that moved (0.35 px of 1280): a
#: tag's sides are true to less than a quarter of that.
_MOVED_RATIO: Final = 0.35 / 1280
#: Pictures compared, and fewest that show a tag and fewest tags that tell.
_LOOKS, _FEWEST_LOOKS, _FEWEST_TAGS = 16, 3, 2


def warn_of_moves(
    frames: Sequence[Frame], layout: TagLayout, tags: Sequence[TagName], camera: FloatArray
) -> tuple[Contradiction, ...]:
    """What to say where the tags do not lie at the same place in all pictures.

    Parameters
    ----------
    frames : sequence of Frames
        Spread over the clip.
    tags : names of the tags on which the camera stands
    camera : (15,) float array

    Notes
    -----
    Each tag's middle is held against its median over the pictures, and of all tags the median distance counts: a hand
    over one of them, or one that is pushed, does not pass for the camera.
    Checked by: tests/table/test_steadiness.py::test_a_nudge_of_one_pixel_is_noticed_and_dated
    """
    if len(frames) < _FEWEST_LOOKS or len(tags) < _FEWEST_TAGS:
        return ()
    chosen = [frames[k] for k in np.unique(np.linspace(0, len(frames) - 1, _LOOKS).round().astype(int))]
    chosen = sorted(chosen, key=lambda frame: frame.clip_s)
    wanted = layout.pick(tags)
    middles = np.full((len(chosen), len(tags), 2), np.nan)
    for k, frame in enumerate(chosen):
        sighting, seen = sight_edges(frame.luma, wanted, camera, quick=True)
        at = [tags.index(name) for name in seen]
        middles[k, at] = sighting.pixels_px.reshape(-1, 4, 2).mean(axis=1)
    counted = np.sum(np.isfinite(middles[..., 0]), axis=0) >= _FEWEST_LOOKS
    if np.sum(counted) < _FEWEST_TAGS:
        return ()
    middles = middles[:, counted]
    seen_in = np.sum(np.isfinite(middles[..., 0]), axis=1) >= _FEWEST_TAGS
    middles, times = middles[seen_in], np.array([frame.clip_s for frame in chosen])[seen_in]
    middles = middles[:, np.any(np.isfinite(middles[..., 0]), axis=0)]
    if len(middles) < _FEWEST_LOOKS:
        return ()
    apart = middles - np.nanmedian(middles, axis=0)
    off_px = np.nanmedian(np.linalg.norm(apart, axis=-1), axis=1)
    moved_px = float(np.max(off_px))
    if moved_px <= _MOVED_RATIO * chosen[0].luma.shape[1]:
        return ()
    # The greatest change from one picture to the next dates a knock.
    steps = np.linalg.norm(np.diff(np.nanmedian(apart, axis=1), axis=0), axis=-1)
    knock = int(np.argmax(steps))
    before_s, after_s = float(times[knock]), float(times[knock + 1])
    shown = (
        f"The camera did not stand still: the tags lie up to {moved_px:.1f} px from where they mostly lie, with the "
        f"greatest change between {before_s:.2f} and {after_s:.2f} s of the clip. Places are off by as much where it "
        "stood elsewhere"
    )
    do = "set moves = true under [camera], or cut the clip there with from_s and until_s"
    return (Contradiction("[camera] moves", shown, do, off_px=moved_px),)
