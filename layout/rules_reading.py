"""A YAML tree checked against a model: what holds, or everything that is wrong with its place."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, TypeVar

from pydantic import BaseModel, ValidationError

from layout.rules_error import RuleProblem
from layout.rules_messages import is_misspelt, problem_of
from layout.rules_yaml import YamlTree

MOST_TOLD: Final = 50
"""Problems told at once; a file with more is not what it is meant to be, and nobody reads on."""

M = TypeVar("M", bound=BaseModel)


def validated(
    tree: YamlTree, name: str, model: type[M]
) -> tuple[M | None, tuple[RuleProblem, ...]]:
    """What the file says, or what pydantic has against it; places that were refused already are left
    out.
    """
    try:
        found = model.model_validate(tree.data)
    except ValidationError as error:
        details = [
            d
            for d in error.errors(include_url=False)
            if not _is_refused(tuple(d["loc"]), tree) and not is_misspelt(d, tree, model)
        ]
        # A list is called too short once its entries were refused, which is told already.
        told = {tuple(d["loc"][:n]) for d in details for n in range(len(d["loc"]))}
        details = [d for d in details if d["type"] != "too_short" or tuple(d["loc"]) not in told]
        details.sort(key=lambda d: tree.place(tuple(d["loc"])))
        return None, tuple(problem_of(d, tree, name, model) for d in details[:MOST_TOLD])
    return (None if tree.problems else found), ()


def _is_refused(path: tuple[str | int, ...], tree: YamlTree) -> bool:
    return any(path[:depth] in tree.refused for depth in range(len(path) + 1))


def in_order(problems: Iterable[RuleProblem]) -> tuple[RuleProblem, ...]:
    """Problems from the top of the file down, no more than a person reads."""
    ordered = sorted(problems, key=lambda p: (p.line or 0, p.column or 0, p.code, p.key))
    return tuple(ordered[:MOST_TOLD])
