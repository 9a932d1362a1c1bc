"""The page as bytes: what it says, that it is closed to names that mean harm, that it stays the same.

What needs a browser is in test_page_browser.py.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import Polygon

from layout.cautions import CAUTIONS
from layout.floor import BayLayout, CutKind, JobResult
from layout.job import lay_plan
from layout.takeoff import combine
from layout.writers.numbers import whole_mm
from layout.writers.offcuts import offcuts_of
from layout.writers.page.lines import RunLine, plan_words, run_lines
from layout.writers.page.render import page_html
from tests.layout.writers.build import lay, result_of, rules
from tests.layout.writers.page_jobs import HOSTILE, L_SHAPE, flat_job, hostile_job


def page(job: JobResult | None = None) -> str:
    return page_html(job or flat_job(), rules()).decode("utf-8")


class Tags(HTMLParser):
    """Every element with its attributes, and the text of the page outside style and script."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.said: list[str] = []
        self.raw: dict[str, list[str]] = {"style": [], "script": []}
        self._in = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        self._in = tag if tag in self.raw else ""

    def handle_endtag(self, tag: str) -> None:  # noqa: ARG002
        self._in = ""

    def handle_data(self, data: str) -> None:
        (self.raw[self._in] if self._in else self.said).append(data)


def test_the_page_needs_nothing_from_elsewhere_and_allows_nothing_else() -> None:
    text = page()
    tags = Tags(text)
    policy = next(a["content"] for t, a in tags.found if a.get("http-equiv")) or ""
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    for kind, source in (("style", tags.raw["style"][0]), ("script", tags.raw["script"][-1])):
        digest = base64.b64encode(hashlib.sha256(source.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy
    for tag, attrs in tags.found:
        assert not [name for name in attrs if name.startswith("on") or name == "style"], tag
        for name in ("src", "href", "xlink:href", "action", "srcset"):
            assert (attrs.get(name) or "#").startswith(("#", "data:,")), (tag, attrs)
    assert "http:" not in text.replace("http-equiv", "")
    assert "https:" not in text


def test_names_are_data_wherever_they_stand() -> None:
    text = page(hostile_job())
    tags = Tags(text)
    own = Tags(page()).found
    assert {t for t, _ in tags.found} <= {t for t, _ in own}
    assert not [a for _, a in tags.found if any(n.startswith("on") for n in a)]
    said = "".join(tags.said)
    assert HOSTILE[0] in said
    assert HOSTILE[3] in said
    assert not re.search("[\x00-\x08\x0b-\x1f\u2028\u202a-\u202e\u2066-\u2069]", text)
    assert len(tags.raw["script"]) == len(HOSTILE) + 1, "a name closed a data block"


def test_every_caution_and_the_default_rules_are_on_the_page() -> None:
    said = " ".join("".join(Tags(page()).said).split())
    for caution in CAUTIONS:
        assert caution in said
    assert "packaged default" in said


def test_every_run_is_a_line_and_every_piece_is_on_the_plan() -> None:
    job = flat_job()
    tags = Tags(page(job))
    blocks = [json.loads(s) for s in tags.raw["script"][:-1]]
    layouts = job.plans[0].bays
    assert len(blocks) == len(layouts) == 3
    for block, layout in zip(blocks, layouts, strict=True):
        assert len(block) == len({p.run for p in layout.pieces})
        assert sum(len(line[4]) for line in block) == len(layout.pieces)
    floors = re.findall(r'<g class="floor">(.*?)</g></g>', page(job), re.DOTALL)
    assert [f.count("<path") for f in floors] == [len(b.pieces) for b in layouts]


@pytest.fixture(scope="module")
def solved() -> BayLayout:
    """A floor as the solver lays it, offcuts and all."""
    plan = result_of([lay(L_SHAPE, "B1")]).plan
    assert plan is not None
    return lay_plan(plan, rules()).bays[0]


def lines_of(layout: BayLayout) -> tuple[RunLine, ...]:
    return run_lines(layout, plan_words([layout], offcuts_of([layout])))


def test_lines_come_in_the_order_of_laying_with_the_lengths_of_their_pieces(
    solved: BayLayout,
) -> None:
    lines = lines_of(solved)
    assert len(lines) == len(solved.runs) > 0
    orders = [min(p.order for p in line.seen.pieces) for line in lines]
    assert orders == sorted(orders)
    for line in lines:
        first, last = line.seen.pieces[0], line.seen.pieces[-1]
        for told, piece in ((line.first, first), (line.last, last)):
            is_cut = any(c.kind is CutKind.CROSS for c in piece.cuts)
            expected = str(whole_mm(piece.blank_length_mm)) if is_cut else "full"
            assert told is None or told.length == expected
        assert line.full == sum(p.blank_length_mm > 1219 for p in line.seen.pieces[1:-1])


def test_offcuts_are_told_at_both_ends(solved: BayLayout) -> None:
    """Where a piece comes from another row, that row's line says which row to keep its offcut for."""
    lines = lines_of(solved)
    by_label = {line.label: line for line in lines}
    carried = [line for line in lines if line.first.comes_from]
    assert carried
    for line in carried:
        source = by_label[line.first.comes_from]
        ends = [source.first.keep_for, source.last.keep_for if source.last else ""]
        assert line.label in ends
        assert any(note.mark == line.label for note in source.notes)


def test_runs_of_one_row_are_told_apart_by_letters() -> None:
    hole = L_SHAPE.difference(lay(L_SHAPE).bay.floor.buffer(-1000).envelope.buffer(-700))
    lines = lines_of(lay(hole, "B1"))
    labels = [line.label for line in lines]
    assert len(set(labels)) == len(labels)
    split = {line.seen.row for line in lines if line.label.endswith("a")}
    assert split
    assert all(f"{row}b" in labels for row in split)


OUTLINE = re.compile(r'class="edge" d="M(-?\d+) (-?\d+)((?:[hvl]-?\d+(?: -?\d+)?)+)z"')


def outline_on_sheet(text: str) -> Polygon:
    """The outline of the first bay as the eye sees it: y up."""
    found = OUTLINE.search(text)
    assert found
    points = [(int(found[1]), -int(found[2]))]
    for kind, one, two in re.findall(r"([hvl])(-?\d+)(?: (-?\d+))?", found[3]):
        x, y = points[-1]
        a, b = int(one), int(two or 0)
        points.append({"h": (x + a, y), "v": (x, y - a), "l": (x + a, y - b)}[kind])
    return shapely.orient_polygons(Polygon(points))


@pytest.mark.parametrize("along", [0.0, 90.0, 180.0, 211.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_the_plan_is_turned_and_never_mirrored(along: float, mirrored: bool) -> None:
    """Going round counter-clockwise the walls have the same lengths in the same order."""

    def walls(shape: Polygon) -> list[int]:
        points = shapely.get_coordinates(shape)
        lengths = [round(float(v), -1) for v in np.hypot(*np.diff(points, axis=0).T)]
        start = lengths.index(max(lengths))
        return [int(v) for v in lengths[start:] + lengths[:start]]

    layout = lay(L_SHAPE, "B1", along_deg=along, mirrored=mirrored)
    seen = outline_on_sheet(page(combine([result_of([layout])], rules())))
    assert walls(seen) == walls(shapely.orient_polygons(L_SHAPE))


def test_same_job_gives_the_same_bytes_in_another_process(tmp_path: Path) -> None:
    code = (
        "import sys;from tests.layout.writers.page_jobs import flat_job;"
        "from tests.layout.writers.build import rules;"
        "from layout.writers.page.render import page_html;"
        "sys.stdout.buffer.write(page_html(flat_job(), rules()))"
    )
    other = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONHASHSEED": "7", "PYTHONPATH": ":".join(filter(None, sys.path))},
        capture_output=True,
        check=True,
    )
    assert other.stdout == page_html(flat_job(), rules())


def test_ticks_belong_to_what_is_laid_not_to_what_is_said() -> None:
    key = re.compile('data-job="([0-9a-f]{20})"')

    def of(job: JobResult) -> str:
        found = key.search(page(job))
        assert found
        return found[1]

    assert of(flat_job()) == of(flat_job(rules(name="another name")))
    assert of(flat_job()) != of(flat_job(rules(plank={"length": 1000, "width": 180})))


def test_a_bay_takes_little(tmp_path: Path) -> None:
    """Forty flats must open on a phone: a room of 20 m2 takes less than 20 kB."""
    one, two = (
        len(page(combine([result_of([lay(L_SHAPE, f"B{k}") for k in range(n)])], rules())))
        for n in (1, 2)
    )
    assert two - one < 20_000


def test_job_without_a_bay_still_has_a_page() -> None:
    result = result_of([])
    assert "Before the first cut" in page(combine([result], rules()))
