"""The architect's drawing with the setting-out added: the entry to this package for writing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from importer.plan import Finding, Origin, PlanError, Severity
from layout.floor import PlanResult
from layout.rules import RuleSet
from layout.writers.dxf.census import census, differences, raw_census
from layout.writers.dxf.compose import Composition, compose
from layout.writers.dxf.pen import Pen
from layout.writers.dxf.records import has_record, write_record
from layout.writers.dxf.scheme import SCHEMES, LayerScheme
from layout.writers.dxf.sheet_set import add_sheets, sheet_set
from layout.writers.dxf.source import Opened, made_up_layouts, open_drawing, write_whole
from layout.writers.dxf.splice import CannotSpliceError, View, splice
from layout.writers.dxf.styles import add_styles
from layout.writers.dxf.tags import RawFile, parse
from layout.writers.dxf.underlay import underlay_of


class TouchedError(RuntimeError):
    """Something of the architect's would have been changed. Never a user's fault."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedFile:
    """The marked drawing as a file, and what the user should know about how it was made."""

    data: bytes
    remarks: tuple[str, ...] = ()


def marked_dxf(
    source: Path, result: PlanResult, rules: RuleSet, *, scheme: LayerScheme | None = None
) -> bytes:
    """The drawing at `source` with the layout of `result` added on layers of its own.

    See `mark_drawing`, which also tells what had to be done to the file.
    """
    return mark_drawing(source, result, rules, scheme=scheme).data


def mark_drawing(
    source: Path,
    result: PlanResult,
    rules: RuleSet,
    *,
    scheme: LayerScheme | None = None,
    default_rules: bool = False,
    level_mm: float = 0.0,
) -> MarkedFile:
    """Add the layout to the architect's drawing; everything that was in it stays as it was. Layers are
    named by `scheme`, else as the rules say. `level_mm` is the height at which the marks lie.

    A sound text DXF of release 2000 or later is added to byte for byte; others (older, binary,
    damaged) are written anew, R12 to R14 as release 2000, and a remark says so, also in the drawing.
    The result depends on nothing but the arguments and the file.

    Raises:
        PlanError: the file cannot be read, or is a drawing that was marked before.
        TouchedError: an original entity would have changed (a fault of this program).
    """
    if result.plan is None:
        msg = "a plan that could not be read cannot be marked"
        raise ValueError(msg)
    scheme = scheme or SCHEMES[rules.outputs.layers.value]
    opened = open_drawing(source)
    if has_record(opened.doc):
        raise PlanError(_marked_before(source))
    to_mm = result.plan.units.to_mm
    before = frozenset(opened.doc.entitydb.keys()) - made_up_layouts(opened)
    counted = census(opened.doc) if opened.raw is None else {}
    underlay = underlay_of(opened.doc, to_mm)
    drawn = compose(result, rules, underlay, opened.remarks, default_rules=default_rules)
    pen = Pen(opened.doc, add_styles(opened.doc, scheme, to_mm), to_mm, level_mm=level_mm)
    for mark in drawn.marks:
        pen.draw(mark)
    remarks = list(opened.remarks)
    if rules.outputs.sheets:
        sheets = sheet_set(drawn, result, rules, underlay, default_rules=default_rules)
        add_sheets(opened.doc, sheets.sheets, pen.styles, to_mm)
        if sheets.left_out:
            remarks.append(
                f"{sheets.left_out} bays have no paper-space sheet: a drawing holds only so many. The "
                "plan and the other outputs have them all."
            )
    write_record(opened.doc, result, rules, scheme, default_rules=default_rules)
    view = _view(drawn, to_mm)
    if opened.raw is None:
        data = _written_whole(opened, counted, view)
    else:
        data = _added(source, opened, before, view)
    return MarkedFile(data=data, remarks=tuple(remarks))


def _added(source: Path, opened: Opened, before: frozenset[str], view: View) -> bytes:
    """The file as it was, with ours put in."""
    raw = opened.raw
    assert raw is not None
    try:
        data = splice(raw, opened.doc, before, view)
    except CannotSpliceError:
        return _written_whole(opened, census(open_drawing(source).doc), view)
    touched = _touched(raw, data)
    if touched:
        raise TouchedError(f"records {', '.join(touched[:5])} would have changed")
    return data


def _written_whole(opened: Opened, counted: Mapping[str, str], view: View) -> bytes:
    touched = differences(counted, census(opened.doc))
    if touched:
        raise TouchedError(f"entities {', '.join(touched[:5])} would have changed")
    return write_whole(opened, view)


def _touched(raw: RawFile, data: bytes) -> tuple[str, ...]:
    """Entities and objects that differ in the file itself; what marking has to change is left out."""
    after = parse(data)
    if after is None:
        return ("all",)
    changed = {r.handle for r in raw.records if r.kind in {"TABLE", "VPORT", "DICTIONARY"}}
    changed |= _linked(raw, after)
    gone = differences(raw_census(raw), raw_census(after))
    return tuple(
        key for key in gone if key.split("/")[1] not in changed and not key.startswith("HEADER/")
    )


def _linked(before: RawFile, after: RawFile) -> set[str]:
    """Block records that differ in nothing but the link to a layout, where it led nowhere."""
    was, now = _block_records(before), _block_records(after)
    return {
        handle
        for handle, (link, rest) in was.items()
        if link not in before.handles and handle in now and rest == now[handle][1]
    }


def _block_records(file: RawFile) -> dict[str, tuple[str, list[tuple[int, bytes]]]]:
    """By handle: the link to a layout, and all other groups."""
    found = {}
    for record in file.in_section("TABLES"):
        if record.kind == "BLOCK_RECORD" and record.handle is not None:
            tags = [(t.code, t.value) for t in file.tags_of(record)]
            link = next((value for code, value in tags if code == 340), b"")
            words = link.decode("ascii", "replace").upper()
            found[record.handle] = (words, [t for t in tags if t[0] != 340])
    return found


def _view(drawn: Composition, to_mm: float) -> View:
    x0, y0, x1, y1 = (v / to_mm for v in drawn.view)
    left, low, right, high = (v / to_mm for v in drawn.bounds)
    return View(
        centre=((x0 + x1) / 2, (y0 + y1) / 2),
        width=x1 - x0,
        height=y1 - y0,
        extents=(left, low, right, high),
    )


def _marked_before(source: Path) -> Finding:
    return Finding(
        code="OUT-102",
        severity=Severity.REFUSED,
        what="this drawing has been marked by setout already.",
        where=Origin(file=str(source)),
        remedy="Give the architect's own drawing, or delete the marks' layers and the record first.",
    )
