"""The site file is read strictly: what is wrong is told with its place, all of it at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from layout.rules_error import RuleError
from layout.site_file import SiteFile, load_site, load_site_text

GOOD = """\
plan: flat.dxf
bays:
  B1:  # Living
    L1: 4203
    L2: 4.2 m
    W1: {drawn: 3600, site: 3608}
    W2: {drawn: 3600, site: }
    W3:
  B2:
"""


def problems(text: str) -> list[str]:
    with pytest.raises(RuleError) as caught:
        load_site_text(text, "site.yaml")
    return [str(p) for p in caught.value.problems]


def measures(site: SiteFile) -> dict[str, dict[str, float]]:
    return {b.bay: {m.id: m.site_mm for m in b.measures} for b in site.bays}


def test_lengths_are_millimetres_or_have_a_unit_and_empty_ones_are_not_measured() -> None:
    site = load_site_text(GOOD, "site.yaml")
    assert site.plan == "flat.dxf"
    assert measures(site) == {"B1": {"L1": 4203.0, "L2": 4200.0, "W1": 3608.0}, "B2": {}}
    assert [m.drawn_mm for m in site.bays[0].measures] == [None, None, 3600.0]
    assert (site.bays[0].measures[2].place.line, site.bays[0].measures[2].place.column) == (6, 5)


def test_feet_and_inches() -> None:
    site = load_site_text("plan: a.dxf\nbays: {B1: {L1: 13 ft 9 1/2 in}}", "site.yaml")
    assert measures(site)["B1"]["L1"] == pytest.approx(13.7916666 * 304.8)


@pytest.mark.parametrize(
    ("text", "place", "said"),
    [
        ("plan: a.dxf\nbays: {B1: {L1: long}}", ":2:13: [SIT-202]", "bays.B1.L1"),
        ("plan: a.dxf\nbays: {B1: {L1: -4200}}", "[SIT-202]", "no distance"),
        ("plan: a.dxf\nbays: {B1: {L1: 0}}", "[SIT-202]", "no distance"),
        ("plan: a.dxf\nbays: {B1: {L1: .nan}}", "[SIT-202]", "bays.B1.L1"),
        ("plan: a.dxf\nbays: {B1: {L1: yes}}", "[SIT-202]", "bays.B1.L1"),
        ("plan: a.dxf\nbays: {B1: {L1: [1, 2]}}", "[SIT-202]", "bays.B1.L1"),
        ("plan: a.dxf\nbays: {B1: {L1: {site: 4200, drwan: 1}}}", "[SIT-201]", "drawn"),
        ("plan: a.dxf\nbays: {B1: 4200}", "[SIT-201]", "where a group is wanted"),
        ("plan: a.dxf\nbay: {}\nbays: {}", ":2:1: [SIT-201]", "bays"),
        ("plan: 7\nbays: {}", ":1:1: [SIT-203]", "name of a drawing"),
        ("bays: {}", "[SIT-203]", "name of a drawing"),
        ("- 1\n- 2", "[SIT-201]", "where a group is wanted"),
        ("", "[SIT-201]", "site.yaml"),
        ("plan: a.dxf\nbays: {B1: {L1: 1, L1: 2}}", "site.yaml:2:", "L1"),
        ("plan: a.dxf\nbays: {B1: {L1: 1", "site.yaml:2:", ""),
    ],
)
def test_every_mistake_has_its_place_and_its_remedy(text: str, place: str, said: str) -> None:
    told = "\n".join(problems(text))
    assert place in told
    assert said in told


def test_all_mistakes_are_told_at_once_from_top_to_bottom() -> None:
    told = problems("plan: a.dxf\nbays:\n  B1:\n    L1: long\n    W1: {sight: 3}\n  B2: 5\n")
    assert [t.split(": ")[0] for t in told] == ["site.yaml:4:5", "site.yaml:5:10", "site.yaml:6:3"]


def test_file_that_is_not_there_names_the_one_that_is(tmp_path: Path) -> None:
    (tmp_path / "flat-site.yaml").write_text(GOOD, encoding="utf-8")
    with pytest.raises(RuleError, match=r"Did you mean .*flat-site\.yaml.*NAME-site\.yaml"):
        load_site(tmp_path / "flat-sites.yaml")


def test_drawing_given_as_site_file_is_refused(tmp_path: Path) -> None:
    drawing = tmp_path / "a.dxf"
    drawing.write_bytes(b"0\nSECTION\n" * 200_000)
    with pytest.raises(RuleError, match="which no site file is"):
        load_site(drawing)
