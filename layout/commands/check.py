"""`setout check`: a marked drawing held against the rules again, from what stands in it now."""

from __future__ import annotations

import json as json_text
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layout.audit import audit
from layout.cautions import DEFAULT_RULES_NOTE
from layout.commands.screen import breach_words, busy, console, plain, write_json
from layout.commands.status import ExitStatus, status_of
from layout.floor import BayLayout, Breach
from layout.rules import RuleSet
from layout.rules_file import load_rules
from layout.writers.dxf.reread import MarkedDrawing, Written, reread
from layout.writers.numbers import mm
from layout.writers.record import breach_json, finding_json

Json = dict[str, Any]

SCHEMA_VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedBay:
    """A bay as it stands in the drawing now; `written` is what the record in the drawing says of it."""

    layout: BayLayout
    breaches: tuple[Breach, ...]
    written: Written | None
    planks: int
    """Planks opened for the bay that pieces in the drawing still come from."""

    @property
    def new_breaches(self) -> tuple[Breach, ...]:
        """Breaches that the record does not have: something was changed since."""
        known = Counter(_kind(b) for b in self.written.breaches) if self.written else Counter()
        found = []
        for breach in self.breaches:
            if known[_kind(breach)]:
                known[_kind(breach)] -= 1
            else:
                found.append(breach)
        return tuple(found)


def _kind(breach: Breach) -> tuple[str, str]:
    return breach.rule, breach.where


def check(marked: Path, *, rules: str | None, json: str | None) -> ExitStatus:
    """Audit a marked drawing. Raises RuleError, PlanError, OutputError."""
    own_rules = load_rules(rules) if rules is not None else None
    with busy(f"Checking {marked.name}", quiet=False):
        drawing = reread(marked)
        by = own_rules or drawing.rules
        bays = checked(drawing, by)
    is_default = drawing.default_rules and own_rules is None
    if json is not None:
        inputs = (marked,) if rules is None else (marked, Path(rules))
        data = _record(drawing, bays, by, is_default=is_default)
        text = json_text.dumps(data, ensure_ascii=False, allow_nan=False, indent=1)
        write_json((text + "\n").encode("utf-8", "replace"), json, inputs=inputs)
    if json != "-":
        _show(drawing, bays, by, is_default=is_default)
    if any(b.breaches for b in bays):
        return ExitStatus.TO_SETTLE
    return status_of(drawing.findings)


def checked(drawing: MarkedDrawing, rules: RuleSet) -> tuple[CheckedBay, ...]:
    """Every bay of the drawing, audited; bays may share planks."""
    written = {w.bay: w for w in drawing.written}
    used = {p.plank for b in drawing.bays for p in b.pieces}
    known = {p.id for b in drawing.bays for p in b.planks}
    found = []
    for b in drawing.bays:
        strange = {p.plank for p in b.pieces} - known
        found.append(
            CheckedBay(
                layout=b,
                breaches=audit(b, rules, pool=[o for o in drawing.bays if o is not b]),
                written=written.get(b.bay.id),
                planks=sum(p.id in used for p in b.planks) + len(strange),
            )
        )
    return tuple(found)


def _record(
    drawing: MarkedDrawing, bays: Sequence[CheckedBay], rules: RuleSet, *, is_default: bool
) -> Json:
    return {
        "schema": SCHEMA_VERSION,
        "file": drawing.file,
        "rules": {"name": rules.name, "packaged_default": is_default},
        "bays": [_bay(b) for b in bays],
        "findings": [finding_json(f) for f in drawing.findings],
    }


def _bay(bay: CheckedBay) -> Json:
    written = bay.written
    return {
        "id": bay.layout.bay.id,
        "rooms": list(bay.layout.bay.rooms),
        "planks": bay.planks,
        "pieces": len(bay.layout.pieces),
        "area_mm2": mm(bay.layout.area_mm2),
        "breaches": [breach_json(b) for b in bay.breaches],
        "written": None
        if written is None
        else {
            "planks": written.planks,
            "area_mm2": mm(written.area_mm2),
            "breaches": [breach_json(b) for b in written.breaches],
        },
    }


# --- on the screen ------------------------------------------------------------------------------


def _show(
    drawing: MarkedDrawing, bays: Sequence[CheckedBay], rules: RuleSet, *, is_default: bool
) -> None:
    from rich.table import Table

    screen = console()
    screen.print(f"{plain(drawing.file)}, checked by the rules: {plain(rules.name)}")
    if is_default:
        screen.print(DEFAULT_RULES_NOTE)
    table = Table("bay")
    for head in ("planks", "pieces", "floor m2", "breaches", "new since marked"):
        table.add_column(head, justify="right")
    for bay in bays:
        table.add_row(
            plain(bay.layout.bay.name or bay.layout.bay.id),
            str(bay.planks),
            str(len(bay.layout.pieces)),
            f"{bay.layout.area_mm2 / 1e6:.2f}",
            str(len(bay.breaches)),
            str(len(bay.new_breaches)),
        )
    screen.print(table)
    for words in sorted(_lines(bays), key=lambda line: line.endswith("(as marked)")):
        screen.print(f"- {words}", soft_wrap=True)
    for finding in drawing.findings:
        screen.print(f"- {plain(str(finding))}", soft_wrap=True)
    if not any(b.breaches for b in bays) and not drawing.findings:
        screen.print("No rule is broken.")


def _lines(bays: Sequence[CheckedBay]) -> Iterator[str]:
    """Every breach and every changed figure, bay by bay."""
    for bay in bays:
        new = {id(b) for b in bay.new_breaches}
        for breach in bay.breaches:
            age = "new" if id(breach) in new else "as marked"
            yield f"{plain(breach.where)}: [{breach.rule}] {breach_words(breach)} ({age})"
        yield from _changes(bay)


def _changes(bay: CheckedBay) -> list[str]:
    """Figures that are no longer what the record in the drawing says."""
    name, written = plain(bay.layout.bay.name or bay.layout.bay.id), bay.written
    if written is None:
        return []
    found = []
    if bay.planks != written.planks:
        found.append(f"{name}: {bay.planks} planks, {written.planks} when it was marked")
    if abs(bay.layout.area_mm2 - written.area_mm2) > max(100.0, 1e-6 * written.area_mm2):
        now, then = bay.layout.area_mm2 / 1e6, written.area_mm2 / 1e6
        found.append(f"{name}: {now:.3f} m2 laid, {then:.3f} m2 when it was marked")
    return found
