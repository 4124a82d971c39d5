"""All explanations of a run in turn: looked at, narrowed down, the best of them brought to their minimum."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from matchvision.verdict.causes.refits.sharing import at_each
from matchvision.verdict.causes.search.explaining import Explanation
from matchvision.verdict.causes.search.finding import Found, Look, is_number
from matchvision.verdict.causes.search.searching import Searcher
from matchvision.verdict.causes.search.sharpening import sharpen

#: Explanations this much less likely than the best (in nats) after a first look are not narrowed down. That look takes
#: the model's error as large and only a few sizes.
LOOK_WITHIN: Final = 60.0
#: Nor are more than so many.
LOOK_MOST: Final = 10
#: And so many of those that are best from fitted numbers, where a change of nothing is as good as none at all.
LOOK_FITTED: Final = 4
#: Explanations this much less likely than the best after that are not refitted with all slopes computed anew.
REFIT_WITHIN: Final = 8.0
#: Those this near to the best are brought to their true minimum.
CONVERGE_WITHIN: Final = 40.0
#: But no more than so many.
CONVERGED_MOST: Final = 4
#: Those this near to the best have their sizes and dates integrated over.
SHARPEN_WITHIN: Final = 3.5
#: But no more than so many.
SHARPENED_MOST: Final = 4
#: At least and at most so many are: a few steps do not bring a large change to its best.
REFIT_LEAST, REFIT_MOST = 4, 7


@dataclass(frozen=True, eq=False)
class Search:
    """What was found of each explanation that was worth it, the look that each came from, and which were refitted."""

    found: list[tuple[Explanation, Found]]
    looks: list[Look]
    refitted: set[int]

    def better(self, explanation: Explanation, found: Found) -> None:
        """Take what was found elsewhere of an explanation, where it is likelier."""
        for i, (own, one) in enumerate(self.found):
            if own is explanation and found.log_evidence > one.log_evidence:
                self.found[i] = own, found
                self.looks[i] = replace(self.looks[i], at=found.origin)


def search_all(searcher: Searcher, explanations: Sequence[Explanation], rival: float) -> Search:
    """All explanations looked at and narrowed down, those that are worth it refitted with all that is free.

    ``rival`` is the log evidence that the best of them must come near to be worth it: what they must have to be as
    likely as "as predicted".
    """
    looks = at_each(searcher.look, explanations)
    for i, ours in enumerate(explanations):
        for j, theirs in enumerate(explanations):
            # The same cause on another side of the machine may be as likely from the same beginning.
            if (theirs.cause, theirs.machine) == (ours.cause, ours.machine):
                looks[i] = max(looks[i], looks[j], key=lambda look: look.log_evidence)
    most = max((look.log_evidence for look in looks), default=0.0)
    likely = sorted(range(len(looks)), key=lambda i: -looks[i].log_evidence)[:LOOK_MOST]
    likely = [i for i in likely if looks[i].log_evidence > most - LOOK_WITHIN]
    fitted = sorted(range(len(looks)), key=lambda i: -looks[i].fitted_log_evidence)[:LOOK_FITTED]
    likely += [i for i in fitted if i not in likely and math.isfinite(looks[i].fitted_log_evidence)]
    narrowed = at_each(lambda i: searcher.narrow(explanations[i], looks[i]), likely)
    # Whether a wrong number is at work a look tells badly: stretched ones stand in for it.
    numbers = [i for i, explanation in enumerate(explanations) if i not in likely and is_number(explanation)]
    for i, held in zip(numbers, at_each(lambda i: searcher.hold(explanations[i]), numbers), strict=True):
        if held is not None:
            likely.append(i)
            narrowed.append(held)
    best = max([rival, *(look.log_evidence for look in narrowed)])
    order = sorted(range(len(likely)), key=lambda i: -narrowed[i].log_evidence)[:REFIT_MOST]
    worth = {i for i in order if narrowed[i].log_evidence > best - REFIT_WITHIN} | set(order[:REFIT_LEAST])

    def finish(i: int) -> tuple[Explanation, Found]:
        told = searcher.refit if i in worth else searcher.settle
        return explanations[likely[i]], told(explanations[likely[i]], narrowed[i])

    told = at_each(finish, range(len(likely)))
    best = max([rival, *(found.log_evidence for _, found in told)])
    # What changes nothing is where the plain match is: it has its minimum, and takes no turn from what has not.
    nothing = {i for i in worth if not searcher.tells(*told[i], narrowed[i])}
    nearest = sorted(worth, key=lambda i: (i in nothing, -told[i][1].log_evidence))[:CONVERGED_MOST]

    def converge(i: int) -> tuple[Look, Found]:
        one = told[i][1]
        if one.log_evidence < best - CONVERGE_WITHIN:
            return narrowed[i], one
        return searcher.converge(explanations[likely[i]], narrowed[i], one)

    for i, (look, again) in zip(nearest, at_each(converge, nearest), strict=True):
        narrowed[i], told[i] = look, (explanations[likely[i]], again)
    return Search(told, narrowed, worth)


def sharpen_near(searcher: Searcher, search: Search, rival: float) -> list[Found]:
    """Integrate over sizes, dates and places of what comes near the best, ``rival`` among them (log evidence).

    Returns what met a better place on the way.
    """
    done: set[int] = set()
    moved: list[Found] = []

    def sharper(i: int) -> tuple[Explanation, Found]:
        explanation, found = search.found[i]
        return explanation, sharpen(searcher, explanation, search.looks[i], found)

    while True:
        # What was integrated over is often less likely than it seemed: what comes near it then is as well.
        best = max([rival, *(found.log_evidence for _, found in search.found)])
        near = [i for i in search.refitted - done if search.found[i][1].log_evidence > best - SHARPEN_WITHIN]
        near = sorted(near, key=lambda i: -search.found[i][1].log_evidence)[: max(0, SHARPENED_MOST - len(done))]
        if not near:
            return moved
        for i, better in zip(near, at_each(sharper, near), strict=True):
            moved += [better[1]] * (better[1].fit is not search.found[i][1].fit)
            search.found[i] = better
        done |= set(near)
