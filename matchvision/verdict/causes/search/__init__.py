"""What may have been otherwise, and where, when and how large it would have to be."""
