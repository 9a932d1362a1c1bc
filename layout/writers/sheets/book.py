"""All sheets of a plan as one PDF: the entry to this package."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from importer.plan import Finding, Origin, Severity
from layout.floor import BayId, PlanResult
from layout.rules import RuleSet
from layout.writers.names import clean, flat_name, storey_name
from layout.writers.sheets.bay_sheet import bay_drafts
from layout.writers.sheets.border import draw_border
from layout.writers.sheets.draft import Draft
from layout.writers.sheets.key_plan import key_plan_drafts
from layout.writers.sheets.letters import unprintable
from layout.writers.sheets.marks import Group, Mark, Page, Sketch, Text
from layout.writers.sheets.render import pdf_of
from layout.writers.sheets.scene import context_of, scene_of
from layout.writers.sheets.summary import summary_drafts


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetsFile:
    """The sheets as a file, and what the user should know about how they were made."""

    data: bytes
    findings: tuple[Finding, ...] = ()


def plan_sheets(result: PlanResult, rules: RuleSet, *, default_rules: bool = False) -> SheetsFile:
    """The site sheets of a plan.

    Args:
        result: a plan that was laid; lengths mm.
        rules: the rule set it was laid by; its job fields go into the title blocks.
        default_rules: whether the rules are the packaged ones, which the sheets say.

    Returns:
        A PDF, the same bytes for the same arguments on one machine (scripts other than Latin are
        lettered by the fonts that it has), and a finding where a character could not be lettered.
    """
    pages = sheet_pages(result, rules, default_rules=default_rules)
    title = f"Floor setting-out, {clean(PurePath(result.source).name)}"
    return SheetsFile(data=pdf_of(pages, title=title), findings=tuple(_missing(pages, result)))


def sheet_pages(
    result: PlanResult, rules: RuleSet, *, default_rules: bool = False
) -> tuple[Page, ...]:
    """The sheets before they are made a PDF."""
    context = context_of(result)
    bays: list[Draft] = []
    for layout in result.bays:
        storey, flat = storey_name(result, layout.bay), flat_name(result, layout.bay)
        scene = scene_of(layout, context, storey, flat)
        bays += bay_drafts(scene, rules, source=result.source, default_rules=default_rules)
    keys = list(key_plan_drafts(result, rules))
    # How many sheets the summary takes does not hang on the numbers in it.
    before = len(keys) + len(summary_drafts(result, rules, {}, default_rules=default_rules))
    sheets: dict[BayId, int] = {}
    for n, draft in enumerate(bays, start=before + 1):
        if draft.bay is not None:
            sheets.setdefault(draft.bay, n)
    summary = summary_drafts(result, rules, sheets, default_rules=default_rules)
    drafts = [*summary, *keys, *bays]
    return tuple(_page(d, f"{n} / {len(drafts)}") for n, d in enumerate(drafts, start=1))


def _page(draft: Draft, sheet: str) -> Page:
    sketch = Sketch()
    draw_border(sketch, draft.paper, draft.block, sheet)
    return Page(paper=draft.paper, name=draft.name, marks=(*draft.marks, *sketch.marks))


def _missing(pages: Sequence[Page], result: PlanResult) -> Iterator[Finding]:
    missing = unprintable(words for page in pages for words in words_of(page.marks))
    if missing:
        shown = ", ".join(f"{c} (U+{ord(c):04X})" for c in missing[:8])
        more = f" and {len(missing) - 8} more" if len(missing) > 8 else ""
        yield Finding(
            code="OUT-104",
            severity=Severity.NOTE,
            what=f"no font of this machine has {shown}{more}: the sheets show a lozenge instead.",
            where=Origin(file=PurePath(result.source).name),
            remedy="Install a TrueType font that has them and lay the plan again.",
        )


def words_of(marks: Sequence[Mark]) -> Iterator[str]:
    """All lettering among marks."""
    for mark in marks:
        if isinstance(mark, Text):
            yield mark.words
        elif isinstance(mark, Group):
            yield from words_of(mark.marks)
