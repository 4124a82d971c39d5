"""Stage or layer: mechanics."""
