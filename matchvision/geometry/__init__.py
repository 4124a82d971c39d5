"""Projections between the table and the picture, and their derivatives."""
