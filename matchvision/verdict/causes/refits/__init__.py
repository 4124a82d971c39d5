"""The forecast's match refitted to a measured run: what is compared, what errs, and how well it fits."""
