"""A person's words to calls; no computing here."""

from matchvision.cli.commands import main

__all__ = ["main"]
