"""Stage or layer: footage."""
