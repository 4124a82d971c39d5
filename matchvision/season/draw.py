"""Who meets whom: a draw that a seed decides, so that anybody can draw it again."""

import hashlib
from collections.abc import Mapping, Sequence

from matchvision.records.classbook import DrawRound, Pairing, RunLine
from matchvision.records.season import DrawRules


def draw_order(teams: Sequence[str], seed: int) -> list[str]:
    """Teams in the order that the seed draws: by the SHA-256 of "seed/team", whatever order they come in.

    Notes
    -----
    Anybody can check it without this program: `printf '7/heron' | sha256sum`.
    Checked by: tests/season/test_draw.py::test_the_seed_alone_decides
    """
    return sorted(teams, key=lambda team: _digest(seed, team))


def _digest(seed: int, text: str) -> str:
    return hashlib.sha256(f"{seed}/{text}".encode()).hexdigest()


def draw_rounds(rules: DrawRules, teams: Sequence[str], lines: Sequence[RunLine]) -> tuple[DrawRound, ...]:
    """The draw as far as it can be known, with what was played of it; nothing without a seed.

    Parameters
    ----------
    rules, teams : the event's rules and all teams.
    lines : runs that were played; those that do not count are passed over.

    Notes
    -----
    All-play-all by the circle method: one team stays, the others go round. A knock-out has as many byes as fill the
    next power of two, given to the first drawn; winners meet in the order of the draw. Sides come from the same
    seed.
    Checked by: tests/season/test_draw.py::test_everybody_meets_everybody_once
    """
    if rules.seed is None or len(teams) < 2:
        return ()
    order = draw_order(teams, rules.seed)
    counted = [line for line in lines if line.counts and len(line.teams) == 2]
    # Filmed twice, the one with a winner counts.
    played = {(x.round, frozenset(x.teams)): x for x in sorted(counted, key=lambda x: bool(x.winner))}
    if rules.kind == "all-play-all":
        return tuple(
            DrawRound(str(n), tuple(_pairing(rules.seed, str(n), pair, played) for pair in pairs))
            for n, pairs in enumerate(_circle(order), start=1)
        )
    return tuple(_knock_out(rules.seed, order, played))


def _circle(order: Sequence[str]) -> list[list[tuple[str, str]]]:
    ring = [*order, *([""] if len(order) % 2 else [])]
    half = len(ring) // 2
    rounds = []
    for _ in range(len(ring) - 1):
        pairs = [(ring[k], ring[-1 - k]) for k in range(half)]
        rounds.append([pair for pair in pairs if all(pair)])
        ring = [ring[0], ring[-1], *ring[1:-1]]
    return rounds


def _knock_out(
    seed: int, order: Sequence[str], played: Mapping[tuple[str, frozenset[str]], RunLine]
) -> list[DrawRound]:
    size = 1 << (len(order) - 1).bit_length()
    byes = size - len(order)
    left: list[tuple[str, str]] = [(team, "") for team in order[:byes]]
    rest = order[byes:]
    left += [(rest[k], rest[k + 1]) for k in range(0, len(rest), 2)]
    rounds: list[DrawRound] = []
    while left:
        name = str(len(rounds) + 1)
        pairings = tuple(_pairing(seed, name, pair, played) for pair in left)
        rounds.append(DrawRound(name, pairings))
        winners = [one.winner for one in pairings]
        if len(winners) == 1 or not all(winners):
            break
        left = [(winners[k], winners[k + 1]) for k in range(0, len(winners), 2)]
    return rounds


def _pairing(
    seed: int, name: str, pair: tuple[str, str], played: Mapping[tuple[str, frozenset[str]], RunLine]
) -> Pairing:
    if not pair[1]:
        return Pairing(pair[0], "", pair[0], "", "bye")
    first, second = sorted(pair)
    turned = int(_digest(seed, f"{name}/{first}/{second}")[0], 16) % 2 == 1
    minus, plus = (second, first) if turned else (first, second)
    line = played.get((name, frozenset(pair)))
    if line is None:
        return Pairing(minus, plus, "", "", "to be played")
    return Pairing(line.teams[0], line.teams[1], line.winner, line.id, line.status)
