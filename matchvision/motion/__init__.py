"""Stage or layer: motion."""
