"""Small YAML files as bytes: opened with every trouble told, never more than a little of them read."""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from layout.measures import nearest
from layout.rules_error import RuleError, RuleProblem

_WIDE_ENCODINGS: Final = (
    (codecs.BOM_UTF32_LE, "UTF-32"),  # before UTF-16, whose mark it starts with
    (codecs.BOM_UTF32_BE, "UTF-32"),
    (codecs.BOM_UTF16_LE, "UTF-16"),
    (codecs.BOM_UTF16_BE, "UTF-16"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FileKind:
    """What a file is meant to be, and how to come by one."""

    name: str
    made_by: str
    largest: int = 64 * 1024
    """Bytes; the packaged rule sets with all their comments take under 6 KiB."""


RULE_SET: Final = FileKind(name="rule set", made_by="Make one with `setout rules new FILE`.")


def yaml_text(path: Path, name: str, kind: FileKind = RULE_SET) -> str:
    """The text of a small YAML file; `name` stands for it in messages.

    Raises RuleError: it cannot be opened, is too large to be what it is meant to be, or is no UTF-8.
    """
    return _decoded(_bytes_of(path, name, kind), name)


def _bytes_of(path: Path, name: str, kind: FileKind) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(kind.largest + 1)
    except IsADirectoryError as error:
        raise _refused_file(name, "This is a folder.", "Name the YAML file in it.") from error
    except FileNotFoundError as error:
        remedy = f"{_neighbour(path)}{kind.made_by}"
        raise _refused_file(name, "There is no such file.", remedy) from error
    except (OSError, ValueError) as error:  # ValueError: a NUL character in the path
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _refused_file(
            name, f"The file cannot be read: {reason}.", "Check its name and its permissions."
        ) from error
    if len(data) > kind.largest:
        what = f"The file is larger than {kind.largest // 1024} KiB, which no {kind.name} is."
        raise _refused_file(
            name, what, f"Name the {kind.name.removesuffix(' set')} file, not the drawing."
        )
    return data


def _neighbour(path: Path) -> str:
    """Suggestion of a file beside the missing one with nearly its name."""
    try:
        names = sorted(p.name for p in path.parent.iterdir() if p.suffix in {".yaml", ".yml"})
    except OSError:
        return ""
    near = nearest(path.name, names)
    return f"Did you mean {path.with_name(near)}? " if near else ""


def _decoded(data: bytes, name: str) -> str:
    for mark, encoding in _WIDE_ENCODINGS:
        if data.startswith(mark):
            what = f"The file is written in {encoding}."
            raise _refused_file(name, what, "Save it again as UTF-8.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # error.object is the data less its byte order mark
        before = error.object[: error.start].decode("utf-8", errors="replace")
        raise RuleError(
            (
                RuleProblem(
                    code="RUL-110",
                    file=name,
                    line=before.count("\n") + 1,
                    column=len(before) - before.rfind("\n"),
                    what=f"The byte 0x{error.object[error.start]:02x} here is not UTF-8 text.",
                    remedy="Save the file again as UTF-8 (in an editor: save as, encoding UTF-8).",
                ),
            )
        ) from error


def _refused_file(name: str, what: str, remedy: str) -> RuleError:
    return RuleError((RuleProblem(code="RUL-111", file=name, what=what, remedy=remedy),))
