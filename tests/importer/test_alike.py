"""Findings of one kind are told together, and none of them is lost on the way."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from importer.alike import FEW, told_together
from importer.plan import Finding, Origin, Severity


def gap(width: float, at: float, **fields: object) -> Finding:
    given: dict[str, object] = {
        "code": "IMP-320",
        "severity": Severity.NOTE,
        "what": f"gap of {width:.0f} mm in a wall",
        "where": Origin(file="a.dxf", at=(at, 12.5)),
        "remedy": "Draw it through.",
        **fields,
    }
    return Finding(**given)  # type: ignore[arg-type]


def test_first_is_told_in_full_and_the_others_by_place() -> None:
    (kind,) = told_together([gap(700 + n, 1000.0 * n) for n in range(9)])
    assert str(kind) == (
        "a.dxf, at (0, 12.5): [IMP-320] gap of 700 mm in a wall Draw it through. "
        "The same 8 times more: (1000, 12.5), (2000, 12.5), (3000, 12.5) and 5 more."
    )


def test_few_are_told_one_by_one() -> None:
    findings = [gap(700 + n, n) for n in range(FEW)]
    assert [str(k) for k in told_together(findings)] == [str(f) for f in findings]


def test_what_differs_in_words_weight_or_file_is_not_alike() -> None:
    same = [gap(700, n) for n in range(5)]
    others = [
        gap(700, 1, severity=Severity.SETTLE),
        gap(700, 1, code="IMP-321"),
        gap(700, 1, remedy=""),
        gap(700, 1, what="a door leaf without an opening"),
        gap(700, 1, where=Origin(file="b.dxf")),
    ]
    kinds = told_together([*same, *others])
    assert [len(k.findings) for k in kinds] == [5, 1, 1, 1, 1, 1]


def test_names_in_quotes_do_not_part_them() -> None:
    findings = [gap(1, n, what=f"room 'R {chr(65 + n)}' has no door") for n in range(4)]
    (kind,) = told_together(findings)
    assert len(kind.findings) == 4


@settings(max_examples=40, deadline=None, derandomize=True)
@given(kinds=st.lists(st.integers(0, 4), max_size=30))
def test_every_finding_is_in_one_kind_in_its_order(kinds: list[int]) -> None:
    findings = [gap(n, n, what=f"kind {'abcde'[k]}") for n, k in enumerate(kinds)]
    told = told_together(findings)
    assert sorted(id(f) for k in told for f in k.findings) == sorted(map(id, findings))
    for kind in told:
        numbers = [findings.index(f) for f in kind.findings]
        assert numbers == sorted(numbers)
    firsts = [findings.index(k.first) for k in told]
    assert len(set(firsts)) == len(firsts)
