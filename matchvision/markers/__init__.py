"""Stage or layer: markers."""
