"""Stage or layer: pull."""
