"""Planks filled one after the other as full as can be: for pieces from wall to wall.

Bin completion: the longest piece left opens a plank (a plank that already holds end pieces is open),
and of all sets of the others that fit beside it the one that leaves least is put there, found by a
search in depth cut off after a number of steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

STEPS: Final = 2000
"""Steps of one search: enough to find a perfect fill in nearly all cases seen."""


def filled(
    rooms: Sequence[float], lengths: Sequence[float], plank: float, kerf: float, slack: float
) -> tuple[list[list[int]], list[list[int]]]:
    """Pieces put into open planks and into new ones.

    Args:
        rooms: Length that one more piece may take out of each open plank, mm.
        lengths: What each piece takes, mm.
        plank: Length of a new plank.
        kerf: Between two pieces.
        slack: What a fit may lack.

    Returns:
        Per open plank, then per new plank, the numbers of its pieces.
    """
    left = sorted(range(len(lengths)), key=lambda n: (-lengths[n], n))
    inside: list[list[int]] = [[] for _ in rooms]
    for number in sorted(range(len(rooms)), key=lambda n: (rooms[n], n)):
        inside[number] = _taken(left, lengths, rooms[number] + slack, kerf)
    new = []
    while left:
        first = left.pop(0)
        room = plank - lengths[first] - kerf + slack
        new.append([first, *_taken(left, lengths, room, kerf)])
    return inside, new


def _taken(left: list[int], lengths: Sequence[float], room: float, kerf: float) -> list[int]:
    """Take the best set for a room out of what is left."""
    chosen = _best_set([lengths[n] + kerf for n in left], room + kerf)
    numbers = [left[place] for place in chosen]
    for place in reversed(chosen):
        del left[place]
    return numbers


def _best_set(sizes: Sequence[float], room: float) -> list[int]:
    """Places of a set of sizes (descending) whose sum is the largest found that fits the room."""
    best: list[int] = []
    best_rest = room
    chosen: list[int] = []
    rest, place, steps = room, 0, 0
    while steps < STEPS:
        while place < len(sizes) and steps < STEPS:
            steps += 1
            if sizes[place] <= rest:
                chosen.append(place)
                rest -= sizes[place]
            place += 1
        if rest < best_rest:
            best, best_rest = list(chosen), rest
        if not chosen or not sizes or rest <= 0.0:
            break
        # Give the last one up and go on with the next smaller size.
        place = chosen.pop()
        rest += sizes[place]
        given_up = sizes[place]
        while place < len(sizes) and sizes[place] == given_up:
            place += 1
    return best
