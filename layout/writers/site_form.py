"""The form for the site: every dimension to measure, in YAML, empty, as `layout.site_file` reads it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import PurePath
from typing import Final

from layout.floor import BayLayout, PlanResult, SiteDimension
from layout.writers.names import clean
from layout.writers.numbers import whole_mm, whole_range

_HEAD: Final = """\
# Sizes to measure on site before the first cut, wall face to wall face. The site sheets show where
# ("Measure first"). After "site:" write what the tape shows, in mm or with a unit (4.203 m, 13 ft 9 in);
# leave empty what is not measured. Then:
#   setout lay PLAN --site THIS_FILE --out DIR
# Inside the range every joint and plank stays where it is, the other sizes as drawn.
"""
_FREE: Final = "no rule"
"""What is beyond an end of a range that no rule sets."""


def site_form(result: PlanResult) -> bytes:
    """The form of a plan as UTF-8; nothing where there is nothing to measure."""
    bays = [b for b in result.bays if b.dimensions]
    if not bays:
        return b""
    # JSON strings are YAML strings; what has no place in either was never printable.
    name = json.dumps(form_name(result.called or result.source), ensure_ascii=False)
    lines = [_HEAD + f"plan: {name}", "bays:"]
    for bay in bays:
        lines.extend(_bay_lines(bay))
    return ("\n".join(lines) + "\n").encode("utf-8")


def form_name(source: str) -> str:
    """How the form calls a drawing: its file name in one clean line."""
    return clean(PurePath(source).name)


def _bay_lines(layout: BayLayout) -> Iterator[str]:
    name = clean(layout.bay.name)
    yield f"  {layout.bay.id}:" + (f"  # {name}" if name else "")
    keys = max(len(d.id) for d in layout.dimensions)
    for dimension in layout.dimensions:
        drawn = whole_mm(dimension.drawn_mm)
        entry = f"{dimension.id}:".ljust(keys + 1)
        yield f"    {entry} {{drawn: {drawn}, site: }}  # {_range_words(dimension)}"


def _range_words(dimension: SiteDimension) -> str:
    low, high = whole_range(dimension.least_mm, dimension.most_mm, dimension.drawn_mm)
    if dimension.breaks == ("", ""):
        return "for the layout any length will do"
    below, above = (rule or _FREE for rule in dimension.breaks)
    beyond = below if below == above else f"{below} below, {above} above"
    return f"holds from {low} to {high}; beyond: {beyond}"
