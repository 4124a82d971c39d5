"""Colours guessed from their names, for a person to look at: red is sought for a marker called red, and so on."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

import numpy as np

from matchvision.desk.colouring import Mask, find_neutral, learn_patch
from matchvision.errors import MarkerError
from matchvision.markers import expect_palette, find_blobs, make_palette
from matchvision.records.camera import Camera
from matchvision.records.frames import ClipFacts, Frame
from matchvision.records.sheet import Colour
from matchvision.records.tracks import MarkerPlan

#: What people mean by a colour's name, as usual printers' inks mix it. Only the hue counts.
NAMED: Final[Mapping[str, str]] = {
    "red": "#d9252a",
    "orange": "#f07f1e",
    "yellow": "#f2e41c",
    "lime": "#8dc63f",
    "green": "#12a150",
    "teal": "#0aa596",
    "turquoise": "#0aa596",
    "cyan": "#12a8e0",
    "blue": "#2352b0",
    "violet": "#66309a",
    "purple": "#66309a",
    "magenta": "#e0148a",
    "pink": "#ee6aa8",
}


def name_hue(name: str) -> str | None:
    """The usual look of a colour by a word in its name; None where no word of it is a colour's."""
    words = name.lower().replace("-", "_").split("_")
    return next((NAMED[word] for word in reversed(words) if word in NAMED), None)


def guess_colours(
    frame: Frame,
    facts: ClipFacts,
    camera: Camera,
    over_table: Mask,
    unknown: Iterable[str],
    known: Mapping[str, Colour],
    plans: Sequence[MarkerPlan],
) -> dict[str, str]:
    """What colours look like of which only the name is known, as ``#rrggbb``; what cannot be guessed is left out.

    Spots of each hue and of a marker's size over the table are sought; the strongest of them teaches the colour as a
    click on it would. Names compete, known colours too: a spot counts for the nearest hue alone.

    Notes
    -----
    Checked by: tests/desk/test_guessing.py::test_colours_are_guessed_from_their_names
    """
    hues = {name: hue for name in unknown if (hue := name_hue(name)) is not None}
    if not hues:
        return {}
    meant = {**known, **{name: Colour(srgb=hue) for name, hue in hues.items()}}
    palette = expect_palette(meant, facts.matrix, facts.full_range, facts.transfer)
    neutral = find_neutral(frame, over_table)
    palette = make_palette(palette.names, palette.direction * palette.strength[:, None], neutral)
    blobs = find_blobs(frame, palette, over_table, camera)
    guessed = {}
    for name in hues:
        radii = {plan.radius_m for plan in plans if plan.colour == name}
        suits = np.any([blobs.suit(radius) for radius in radii], axis=0) if radii else np.zeros(len(blobs.colour), bool)
        spots = np.flatnonzero((blobs.colour == palette.names.index(name)) & suits)
        # Seen through motion and edges a spot pales; the strongest shows the colour as it is.
        for spot in sorted(spots, key=lambda k: -float(np.hypot(*blobs.chroma[k]))):
            try:
                guessed[name] = learn_patch(frame, blobs.place_px[spot].tolist(), facts, neutral)
            except MarkerError:
                continue
            break
    return guessed
