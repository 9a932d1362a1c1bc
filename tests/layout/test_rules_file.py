"""Rule files as files, several mistakes at once, and whatever else may be in a file."""

from __future__ import annotations

import pickle
import time
from pathlib import Path

import pytest
import yaml
from hypothesis import example, given
from hypothesis import strategies as st

from layout.rules import RuleSet
from layout.rules_file import RuleError, default_rules, load_rules, load_rules_text

GOOD = "name: a\nplank: {length: 1220, width: 180}\n"


def told(text: str) -> list[str]:
    with pytest.raises(RuleError) as caught:
        load_rules_text(text, "floor.yaml")
    return [str(p) for p in caught.value.problems]


def rules_or_error(text: str) -> RuleSet | RuleError:
    try:
        return load_rules_text(text, "floor.yaml")
    except RuleError as error:
        return error


def told_of(path: Path) -> str:
    with pytest.raises(RuleError) as caught:
        load_rules(path)
    (problem,) = caught.value.problems
    return str(problem)


def test_default_is_rigid_vinyl_and_lays_bathrooms() -> None:
    rules = default_rules()
    assert rules.name == "rigid vinyl, 1220 x 180"
    assert rules.gap.wall == 8.0
    assert rules.limits.run == 15_000.0
    assert not any("bath" in r.match for r in rules.rooms)


def test_file_is_read_with_a_byte_order_mark_and_any_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "floor.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_rules(path) == load_rules_text(GOOD, "floor.yaml")


def test_missing_file_suggests_its_neighbour(tmp_path: Path) -> None:
    (tmp_path / "laminate.yaml").write_text(GOOD, encoding="utf-8")
    message = told_of(tmp_path / "laminat.yaml")
    assert "laminat.yaml: [RUL-111] There is no such file." in message
    assert f"Did you mean {tmp_path / 'laminate.yaml'}?" in message
    assert "Did you mean" not in told_of(tmp_path / "other" / "laminat.yaml")


def test_folder_is_refused(tmp_path: Path) -> None:
    assert "This is a folder. Name the YAML file in it." in told_of(tmp_path)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (GOOD.encode("utf-16"), "written in UTF-16. Save it again as UTF-8"),
        (GOOD.encode("utf-32"), "written in UTF-32. Save it again as UTF-8"),
        (b"name: a\n# gr\xf6\xdfe\n", ":2:5: [RUL-110] The byte 0xf6 here is not UTF-8"),
        (b"\xef\xbb\xbfname: \xff", ":1:7: [RUL-110] The byte 0xff here is not UTF-8"),
        (b"AC1032\0\0\0\0\0" + b"\1" * 100, ":1:7: [RUL-106] There is a control character"),
        (b"#" * 70_000, "larger than 64 KiB, which no rule set is. Name the rule file"),
        (b"", "The file is empty"),
        (b"%PDF-1.7\n", "[RUL-107]"),
    ],
    ids=["utf-16", "utf-32", "latin-1", "bom", "dwg", "large", "empty", "pdf"],
)
def test_file_that_is_no_rule_file_is_refused(tmp_path: Path, data: bytes, says: str) -> None:
    path = tmp_path / "floor.yaml"
    path.write_bytes(data)
    assert says in told_of(path)


@pytest.mark.parametrize("path", ["\0", "x" * 5000, "/dev/null/x"])
def test_impossible_path_is_refused(path: str) -> None:
    assert "[RUL-111]" in told_of(Path(path))


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="needs /dev/zero")
def test_endless_file_is_refused() -> None:
    assert "larger than 64 KiB" in told_of(Path("/dev/zero"))


def test_all_mistakes_are_told_at_once_from_top_to_bottom() -> None:
    messages = told(
        "name: no\n"
        "plank:\n"
        "  length: 1220\n"
        "  width: 1_80\n"
        "ends: {min_lenght: 300}\n"
        "gap: {wall: 8 mn}\n"
        "gap: {wall: 9}\n"
        "order: {spare: 3}\n"
    )
    assert [m.split(" ")[0] for m in messages] == [
        f"floor.yaml:{place}:" for place in ("1:7", "4:10", "5:8", "6:13", "7:1", "8:16")
    ]


def test_contradictions_are_told_at_once_but_not_what_follows_from_a_wrong_unit() -> None:
    messages = told(GOOD + "gap: {wall: 16}\nrows: {min_width: 100}\n")
    assert [m.split(" ")[0] for m in messages] == ["floor.yaml:3:13:", "floor.yaml:4:19:"]
    (message,) = told("name: a\nplank: {length: 1.22, width: 180}\n")
    assert "RUL-301" in message


def test_a_file_full_of_mistakes_is_told_in_part_and_fast() -> None:
    started = time.perf_counter()
    messages = told(GOOD + "".join(f"settin{i:05}: {i}\n" for i in range(3000)))
    assert len(messages) == 50
    assert time.perf_counter() - started < 10.0


def test_alias_bomb_costs_nothing() -> None:
    bomb = GOOD + "a0: &a0 [x, x, x, x, x, x, x, x, x]\n"
    bomb += "".join(f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]\n" for i in range(1, 10))
    started = time.perf_counter()
    assert all("RUL-102" in m for m in told(bomb))
    assert time.perf_counter() - started < 2.0


def test_deep_nesting_ends_in_words_not_in_a_recursion_error() -> None:
    for opening in ("[", "{a: ", "- ", "? "):
        (message,) = told("a: \n  " + opening * 5000)
        assert "RUL-1" in message


def test_error_survives_a_process_pool() -> None:
    with pytest.raises(RuleError) as caught:
        load_rules_text("name: no\nplank: 3", "floor.yaml")
    again = pickle.loads(pickle.dumps(caught.value))
    assert again.problems == caught.value.problems
    assert str(again) == str(caught.value)


SNIPPETS = st.sampled_from(
    [
        *"{}[]:,&*!|>'\"%@`#?-\n\t ~=<",
        "- ",
        ": ",
        "\n  ",
        "name",
        "plank",
        "length",
        "1220",
        "no",
        "rooms",
        "match",
        "&a",
        "*a",
        "!!",
        "---",
        "...",
        "1e3",
        "3/8 in",
        "\0",
        "\ud800",
        "\u2028",
        "é",
    ]
)


@given(st.lists(SNIPPETS, max_size=40).map("".join) | st.text(max_size=60))
@example("\ud800")
@example("{? a}")
@example("name: |2\n a")
@example("a: >-\n\n")
def test_any_text_gives_a_rule_set_or_a_rule_error(text: str) -> None:
    for whole in (text, GOOD + text):
        result = rules_or_error(whole)
        if isinstance(result, RuleError):
            assert result.problems
            assert all(p.what and p.remedy for p in result.problems)
        else:
            assert isinstance(result, RuleSet)


@given(st.binary(max_size=80))
def test_any_bytes_give_a_rule_set_or_a_rule_error(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.yaml"
    path.write_bytes(data)
    with pytest.raises(RuleError):
        load_rules(path)


@given(
    st.sampled_from(
        ["plank.length", "gap.wall", "order.spare", "rows.along", "name", "rooms.match"]
    ),
    st.text(alphabet="0123456789.-+/ einmft%'\"degc_:x", max_size=12),
)
def test_any_value_of_a_setting_gives_a_rule_set_or_one_message_at_its_place(
    setting: str, value: str
) -> None:
    """Quoted, so that it is a text for YAML: what it means is for the setting to say."""
    quoted = yaml.safe_dump(value, default_style='"', width=10**6).strip()
    section, _, key = setting.partition(".")
    lines = {"name": "name: a", "plank": "plank: {length: 1220, width: 180}"}
    if section == "rooms":
        lines["rooms"] = f"rooms: [{{match: {quoted}}}]"
    elif section == "plank":
        lines["plank"] = f"plank: {{width: 180, {key}: {quoted}}}"
    else:
        lines[section] = f"{section}: {{{key}: {quoted}}}" if key else f"{section}: {quoted}"
    result = rules_or_error("\n".join(lines.values()))
    if isinstance(result, RuleError):
        places = {p.line for p in result.problems}
        assert places == {list(lines).index(section) + 1}
