"""Our colours: one for each side of the table, quiet paper and ink, light and dark.

Blue and rust stay apart in the common kinds of colour blindness and differ in lightness, so that they also stay apart
on a grey print. Sources of pull differ by dash as well as by colour.
"""

from typing import Final

#: Role -> colour on light paper.
LIGHT: Final = {
    "paper": "#faf8f3",
    "card": "#ffffff",
    "ink": "#1d2529",
    "soft": "#5a6468",
    "rule": "#d9d4c7",
    "minus": "#17618f",
    "plus": "#ac470c",
    "minus-tint": "#dfeaf1",
    "plus-tint": "#f7e6da",
    "edge": "#8d8674",
    "fused": "#1d2529",
    "link": "#0f7f6c",
    "stretch": "#7b5aa6",
    "inertia": "#94730a",
    "momentum": "#5c6f12",
    "drive": "#a03a6c",
    "warn": "#8a5a00",
}

#: Role -> colour on dark paper.
DARK: Final = {
    "paper": "#12171a",
    "card": "#1a2125",
    "ink": "#eceae3",
    "soft": "#a3adb0",
    "rule": "#343d42",
    "minus": "#6db6e8",
    "plus": "#f29a5e",
    "minus-tint": "#1a2f3d",
    "plus-tint": "#3a281b",
    "edge": "#8f8a7c",
    "fused": "#eceae3",
    "link": "#4cc4ad",
    "stretch": "#b79be0",
    "inertia": "#d9b64a",
    "momentum": "#a9bd52",
    "drive": "#e487b3",
    "warn": "#e0b050",
}

#: Dash patterns (drawn, gap) that tell the sources of pull apart without colour; fused and machines are drawn solid.
DASHES: Final = {"link": (7, 2), "stretch": (2, 2), "inertia": (9, 3, 2, 3), "momentum": (2, 4), "drive": (4, 3)}


def css_variables(colours: dict[str, str]) -> str:
    """The colours as CSS custom properties."""
    return " ".join(f"--{role}: {colour};" for role, colour in colours.items())


def rgb(role: str) -> tuple[int, int, int]:
    """Red, green and blue (0 to 255) of a role's colour on light paper."""
    digits = LIGHT[role].lstrip("#")
    return int(digits[0:2], 16), int(digits[2:4], 16), int(digits[4:6], 16)
