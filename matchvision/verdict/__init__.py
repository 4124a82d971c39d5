"""Who won and how surely, measured against predicted, and why."""

from typing import TYPE_CHECKING, Any

from matchvision.verdict.doubting import weigh_doubts
from matchvision.verdict.first import tell_first

if TYPE_CHECKING:
    from matchvision.verdict.causes.refitted import fit_match
    from matchvision.verdict.verdict import judge, seek_causes

__all__ = ["fit_match", "judge", "seek_causes", "tell_first", "weigh_doubts"]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - whatever the name stands for
    """Names that cost time to load, fetched when first asked for: the first answer needs none of them."""
    if name == "fit_match":
        from matchvision.verdict.causes.refitted import fit_match

        return fit_match
    if name in ("judge", "seek_causes"):
        from matchvision.verdict import verdict

        return getattr(verdict, name)
    msg = f"module 'matchvision.verdict' has no attribute {name!r}"
    raise AttributeError(msg)
