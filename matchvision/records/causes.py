"""Names of the explanations that a run can have: in the table of causes, and as a failure named beforehand."""

from collections.abc import Mapping
from typing import Final

#: Every explanation that is told apart, but for "unexplained", which is none.
CAUSE_NAMES: Final = (
    "as-predicted", "less-grip", "slippery-stretch", "rough-stretch", "drive-loss", "hitch-released", "anchor-weaker",
    "opponent-stronger", "opponent-heavier", "late-start", "wrong-gear", "wrong-mass", "wrong-efficiency",
    "rope-longer", "turned", "blocked", "command-changed", "touched",
)  # fmt: skip

#: Kinds of event that show an explanation at work whether or not it was foreseen.
SHOWN_BY: Final[Mapping[str, tuple[str, ...]]] = {
    "less-grip": ("slip", "spin", "dragged"),
    "drive-loss": ("drive-loss",),
    "hitch-released": ("rope-off",),
    "anchor-weaker": ("anchor-creep", "dislodged"),
    "turned": ("turned",),
    "blocked": ("blocked",),
    "touched": ("touch",),
}
