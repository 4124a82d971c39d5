"""How many threads the picture library may use."""

import cv2


def hold_to_one_thread() -> None:
    """One thread in this process: several processes share the cores, and no result depends on how many."""
    cv2.setNumThreads(1)
