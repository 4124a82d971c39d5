"""Film a rope-pulling contest of small machines and get what really happened, with its uncertainty."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matchvision.writing import open_result

__all__ = ["__version__", "open_result"]
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:  # noqa: ANN401 - whatever the name stands for
    """Names that cost time to load, fetched when first asked for."""
    if name == "open_result":
        from matchvision.writing import open_result

        return open_result
    msg = f"module 'matchvision' has no attribute {name!r}"
    raise AttributeError(msg)
