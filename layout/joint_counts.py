"""Plan the stock by counts.

Where many runs are alike, what matters is how many of a kind take which first piece, not which of
them. A programme over counts, with the limits on phases that offsets imply, finds few planks; its
lengths are then handed to the actual rows, and the search makes joints keep apart that still do not.
"""

from __future__ import annotations

from collections import Counter
from typing import Final

import numpy as np

from importer.tolerance import GRID_MM
from layout.joint_candidates import Ints
from layout.joint_caps import Windows, solved
from layout.joint_problem import Problem
from layout.joint_search import EPS, Search
from layout.stock_program import NEVER, Cases, Program

MANY_KINDS: Final = 12
"""Above this many kinds of run the programme takes longer than the search and gains nothing."""
DIVES: Final = 40
"""Most times that the programme is solved on the way to whole counts."""
WHOLE: Final = 1e-6
"""How near to a whole number a count of the programme is one."""


def counted_choice(problem: Problem, search: Search) -> list[int] | None:
    """A choice of few planks whose joints may still come too close; None where kinds are too many to
    count or the programme has no answer.
    """
    if len(problem.kinds) > MANY_KINDS:
        return None
    cases = _cases(problem, search)
    program = Program(cases, search.size)
    # Riders are left out of the limits: their joints only narrow what a host can do.
    kind_of_run = [-1] * len(problem.demand.runs)
    x0 = [0.0] * len(problem.kinds)
    for node in problem.nodes:
        kind_of_run[node.runs[0]] = node.kind
        x0[node.kind] = problem.demand.runs[node.runs[0]].x0
    windows = Windows(kind_of_run, x0, cases, problem.demand)
    counts = _dive(program, windows)
    return None if counts is None else _handed_out(problem, counts)


def _dive(program: Program, windows: Windows) -> Ints | None:
    """Whole counts from fractions: keep what is whole, round up some of the rest, solve again."""
    low = np.zeros(program.columns)
    for _ in range(DIVES):
        answer = solved(program, windows, NEVER, low)
        if answer.counts is None:
            return None
        low = np.floor(answer.counts + WHOLE)
        part = answer.counts - low
        open_parts = np.flatnonzero(part > WHOLE)
        if not len(open_parts):
            return low.astype(np.intp)
        order = open_parts[np.argsort(-part[open_parts], kind="stable")]
        for column in order[: max(1, len(order) // 3)]:
            low[column] += 1
    return None


def _cases(problem: Problem, search: Search) -> list[Cases]:
    """The options of every kind as cases of the programme, at the marks of the search."""
    found = []
    times = Counter(node.kind for node in problem.nodes)
    for number, kind in enumerate(problem.kinds):
        options = kind.options
        above, below = search.places(options)
        allowed = options.price <= options.price.min() + EPS
        found.append(
            Cases(
                need=np.where((above < search.size) & allowed, above, NEVER),
                room=np.where(allowed, below, 0),
                opened=options.opened + np.where(allowed, 0, 1),
                low=options.first - GRID_MM,
                high=options.first,
                last=np.where(options.last > 0, options.last, np.inf),
                ends=np.minimum(options.opened, 2),
                times=times[number],
            )
        )
    return found


def _handed_out(problem: Problem, counts: np.ndarray) -> list[int]:
    """Lengths to rows: rows of a kind in order take its lengths in turn, small and large by turns."""
    choice = [0] * problem.size
    start = 0
    for number, kind in enumerate(problem.kinds):
        options = kind.options
        lengths = np.repeat(np.arange(options.size), counts[start : start + options.size]).tolist()
        start += options.size
        half = (len(lengths) + 1) // 2
        by_turns = [lengths[n // 2 + (n % 2) * half] for n in range(len(lengths))]
        runs = [n for n, node in enumerate(problem.nodes) if node.kind == number]
        for run, option in zip(runs, by_turns, strict=True):
            choice[run] = option
    return choice
