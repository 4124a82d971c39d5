"""The part of the page that tells what would have won: filled in after the causes."""

from typing import Any, Final

from matchvision.records.remedies import Remedies
from matchvision.records.results import StageNote
from matchvision.report import wording
from matchvision.report.remedypicture import draw_lever
from matchvision.report.slots import mark_slot, page_environment

#: Parts of the page that remedies fill.
SLOT: Final = "remedies"
LIMIT_WORDS: Final = {
    "motor": "its motors",
    "grip": "its grip",
    "weight": "too little weight on the wheels that still touched",
    "rope": "a rope that hung",
    "held": "what holds it",
    "off": "a drive that was off",
}
_NEUTRAL: Final = {"weight": 0.0, "start": 0.0}


def draw_remedies(remedies: Remedies | None, note: StageNote | None) -> dict[str, str]:
    """What would have won, by the slot's name; empty while nothing was sought."""
    if remedies is None and note is None:
        return {SLOT: mark_slot(SLOT, "")}
    context: dict[str, Any] = {
        "remedies": remedies,
        "note": note,
        "pictures": [] if remedies is None else _pictures(remedies),
        "limits": []
        if remedies is None
        else [(LIMIT_WORDS[w], share) for w, share in remedies.limits if share >= 0.01],
        "words": wording,
    }
    return {SLOT: mark_slot(SLOT, page_environment().get_template("remedies.html").render(context))}


def _pictures(remedies: Remedies) -> list[str]:
    chosen = {remedy.lever: remedy.setting for remedy in remedies.remedies if remedy.setting == remedy.setting}
    levers = dict.fromkeys(point.lever for point in remedies.points)
    return [
        draw_lever([p for p in remedies.points if p.lever == lever], _NEUTRAL.get(lever, 1.0), chosen.get(lever))
        for lever in levers
    ]
