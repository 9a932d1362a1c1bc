"""`index.html`: one page that needs no network, no server and, for reading, no script.

Style and script stand in the page and are allowed by their hashes (Content Security Policy, level 3),
nothing else may run or be fetched. Names reach the page through Jinja2's autoescape, and through its
`tojson` filter in the data blocks, which escapes what could end a block.
"""

from __future__ import annotations

import base64
import hashlib
from typing import Any

import jinja2

from layout.cautions import CAUTIONS, DEFAULT_RULES_NOTE
from layout.floor import JobResult
from layout.rules import RuleSet
from layout.writers.page.lines import EndTold, Note, PieceTold, RunLine
from layout.writers.page.view import content_key, job_view


def page_html(job: JobResult, rules: RuleSet) -> bytes:
    """The page of a job as UTF-8. Depends on the result alone: no clock, no host."""
    view = job_view(job, rules)
    env = _environment()
    style, script = (_source(env, name) for name in ("page.css", "page.js"))
    text = env.get_template("page.html").render(
        job=view,
        style=style,
        script=script,
        style_hash=_hash(style),
        script_hash=_hash(script),
        key=hashlib.sha256(content_key(view.bays).encode()).hexdigest()[:20],
        cautions=CAUTIONS,
        default_rules_note=DEFAULT_RULES_NOTE,
    )
    return text.encode("utf-8")


def _environment() -> jinja2.Environment:
    env = jinja2.Environment(
        loader=jinja2.PackageLoader("layout.writers.page", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters["for_script"] = _for_script
    env.policies["json.dumps_kwargs"] = {"ensure_ascii": False, "separators": (",", ":")}
    return env


def _source(env: jinja2.Environment, name: str) -> str:
    """A file beside the template as it is, with the line ends that its hash is taken over."""
    assert env.loader is not None
    text, _, _ = env.loader.get_source(env, name)
    return text.replace("\r\n", "\n")


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode('ascii')}"


# --- what the script is told --------------------------------------------------------------------


def _for_script(line: RunLine) -> list[Any]:
    """A run for the script: label, whether backwards, columns, notes, pieces."""
    return [
        line.label,
        int(line.is_backwards),
        _columns(line),
        [
            *([line.cuts[:1].upper() + line.cuts[1:] + "."] if line.cuts else []),
            *map(_note, line.notes),
        ],
        [_piece(p) for p in line.pieces],
    ]


def _columns(line: RunLine) -> list[list[Any]]:
    """Heading, big figure, whether it is to be cut to, what stands below."""
    if line.last is None:
        return [["only", *_end(line.first)]]
    columns = [["first", *_end(line.first)]]
    if line.full:
        what = "full plank" + "s" * (line.full > 1) if line.are_whole else "full length"
        columns.append(["then", str(line.full), 0, what])
    columns.append(["last", *_end(line.last)])
    return columns


def _end(end: EndTold) -> list[Any]:
    source = f"offcut, row {end.comes_from}" if end.comes_from else ""
    below = "; ".join(w for w in (source, end.other_edge) if w)
    return [end.length, int(end.is_cut), below]


def _note(note: Note) -> str | list[str]:
    if not note.mark:
        return str(note)
    return [f"{note.of}: {note.before}", note.mark, note.after]


def _piece(piece: PieceTold) -> list[str]:
    return [piece.plank, *(w for w in piece.words if w)]
