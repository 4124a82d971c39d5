"""What the measures of pictures mean for measuring, and what to do before filming again."""

from typing import Final

import numpy as np

from matchvision.footage.flicker import LAMP_RATES_PER_S, shown_rate_per_s
from matchvision.records.footage import PictureLook
from matchvision.records.frames import FootageFault
from matchvision.records.results import Contradiction

#: Softer edges than this locate markers clearly worse; softer than the second hardly at all [px].
SOFT_EDGE_PX, BLURRED_EDGE_PX = 5.0, 12.0
#: Shares of the picture (of the table, where it is known) that may be blown out or black.
BLOWN_SHARE, BLACK_SHARE = 0.02, 0.5
#: Darker than this on average, noise takes over; darker than the second there is no picture.
DIM_RATIO, NIGHT_RATIO = 0.12, 0.02
#: Spread of brightness over the clip from which exposure was not locked, and flicker that disturbs contrast.
DRIFT_RATIO, FLICKER_RATIO = 0.10, 0.01
#: A still camera moves the picture by no more than this.
STILL_PX: Final = 1.0
#: Shake from picture to picture that smears markers.
SHAKE_PX: Final = 3.0


def weigh_pictures(look: PictureLook, picture_rate_per_s: float, *, camera_moves: bool) -> tuple[FootageFault, ...]:
    """Weaknesses that the pictures show, each with what it costs and what to do.

    Parameters
    ----------
    picture_rate_per_s : float
        For telling which lamps flicker; NaN for a still.
    camera_moves : bool
        Whether the camera is meant to move.
    """
    return (*_weigh_sharpness(look), *_weigh_light(look, picture_rate_per_s), *_weigh_moves(look, camera_moves))


def _weigh_sharpness(look: PictureLook) -> tuple[FootageFault, ...]:
    if not look.edge_px > SOFT_EDGE_PX:
        return ()
    return (
        FootageFault(
            what=f"the pictures are not sharp: edges rise over {look.edge_px:.1f} px, 2 to 3 px is usual",
            consequence=f"markers are located about {np.sqrt(look.edge_px / 3):.1f} times worse than they could be, "
            "and small ones melt into the table",
            do="wipe the lens, tap on the middle of the table and hold until the focus is locked, "
            "and step back instead of zooming in",
            weight="unusable" if look.edge_px > BLURRED_EDGE_PX else "costs",
        ),
    )


def _weigh_light(look: PictureLook, picture_rate_per_s: float) -> tuple[FootageFault, ...]:
    faults = []
    if look.mean_ratio < DIM_RATIO:
        faults.append(
            FootageFault(
                what=f"the pictures are dark: {100 * look.mean_ratio:.0f} % of the range on average",
                consequence="noise hides small markers, and the shutter stays open long, which smears quick ones",
                do="bring more light, or raise the exposure and lock it",
                weight="unusable" if look.mean_ratio < NIGHT_RATIO else "costs",
            )
        )
    elif look.dark_ratio > BLACK_SHARE:
        faults.append(
            FootageFault(
                what=f"{100 * look.dark_ratio:.0f} % of the picture is black without detail",
                consequence="what lies in the dark cannot be told apart",
                do="light the table evenly, or raise the exposure and lock it",
            )
        )
    if look.clipped_ratio > BLOWN_SHARE:
        faults.append(
            FootageFault(
                what=f"{100 * look.clipped_ratio:.0f} % of what is looked at is blown out, white without detail",
                consequence="colours turn pale there, and white paper bleeds over the edges of tags and markers",
                do="lower the exposure until the white paper of the tags looks light grey, and lock it",
            )
        )
    if look.drift_ratio > DRIFT_RATIO + 2 * np.nan_to_num(look.flicker_ratio):
        faults.append(
            FootageFault(
                what=f"the brightness changes by {100 * look.drift_ratio:.0f} % over the clip",
                consequence="colours change with it, so that markers may be told apart less surely",
                do="lock exposure and white balance before the start",
                weight="costs" if look.drift_ratio > 3 * DRIFT_RATIO else "remark",
            )
        )
    if look.flicker_ratio > FLICKER_RATIO and np.isfinite(look.flicker_per_s):
        lamps = [
            f"{rate:.0f} Hz"
            for rate in LAMP_RATES_PER_S
            if picture_rate_per_s > 0 and abs(shown_rate_per_s(rate, picture_rate_per_s) - look.flicker_per_s) < 1.5
        ]
        said = f", as lamps of {' or '.join(lamps)} do" if lamps else ""
        faults.append(
            FootageFault(
                what=f"the light flickers: ±{100 * look.flicker_ratio:.1f} % at {look.flicker_per_s:.1f} Hz in the "
                f"clip{said}",
                consequence="the contrast of markers changes from picture to picture",
                do="film by daylight or under lamps that do not flicker, or set the shutter to 1/50 s or 1/100 s "
                "(1/60 s or 1/120 s where the mains has 60 Hz)",
                weight="costs" if look.flicker_ratio > 5 * FLICKER_RATIO else "remark",
            )
        )
    return tuple(faults)


def contradict_stillness(look: PictureLook | None, *, camera_moves: bool) -> tuple[Contradiction, ...]:
    """The whole picture's wander against a sheet that says that the camera stood still."""
    if look is None or camera_moves or not look.wander_px > STILL_PX:
        return ()
    shown = f"The camera moves: the picture lies up to {look.wander_px:.1f} px off"
    return (Contradiction("[camera] moves", shown, "set moves = true under [camera]", off_px=look.wander_px),)


def _weigh_moves(look: PictureLook, camera_moves: bool) -> tuple[FootageFault, ...]:
    faults = []
    if look.wander_px > STILL_PX and not camera_moves:
        faults.append(
            FootageFault(
                what=f"the camera moves: the picture lies up to {look.wander_px:.1f} px off",
                consequence="places measured as if it stood still are wrong by as much",
                do="put the phone on a tripod or a shelf and start it without touching, "
                "or write moves = true in the sheet's [camera]",
            )
        )
    if look.shake_px > SHAKE_PX:
        faults.append(
            FootageFault(
                what=f"the picture shakes by {look.shake_px:.1f} px from one picture to the next",
                consequence="markers smear, and each picture's own camera is less sure",
                do="rest the phone on something firm",
            )
        )
    if look.doubled:
        faults.append(
            FootageFault(
                what=f"{look.doubled} of {look.pairs} pictures looked at repeat the one before",
                consequence="things seem to halt and then jump; speeds are less sure",
                do="switch off frame-rate conversion and smoothing, film at a rate that the phone keeps up with, "
                "and use the file as the phone wrote it",
            )
        )
    return tuple(faults)
