"""Reads a job file: every mistake in it with file, line and column, then the plans as tasks.

Paths start from the folder of the job file and may not lead out of it: a job file comes with the
drawings, from somebody else, and must not make a program read what lies elsewhere.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Final

from layout.batch_job import FlatLine, JobFile, JobPlan, LeftOut
from layout.batch_outputs import Task
from layout.batch_plans import find_plans
from layout.batch_scope import NOT_LAID, Choice, Exclusion, Scope, matches
from layout.config_files import config_names, config_text
from layout.measures import nearest, show
from layout.rules import RuleSet
from layout.rules_bytes import FileKind, yaml_text
from layout.rules_error import RuleError, RuleProblem
from layout.rules_file import load_rules, load_rules_text
from layout.rules_reading import in_order, validated
from layout.rules_yaml import Path as Keys
from layout.rules_yaml import YamlTree, dotted, read_yaml

JOB_ENDINGS: Final = (".yaml", ".yml")
JOB_FILE: Final = FileKind(
    name="job file",
    made_by="Make one with `setout job new FILE`.",
    largest=1024 * 1024,
)
_LEFT_OUT: Final = ("rooms", "flats", "storeys", "files")
_DRIVE = re.compile(r"[A-Za-z]:")


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A job as read. `rules` are the rule sets by what the file calls them, packaged ones too; `files`
    those that it named.
    """

    file: Path
    said: JobFile
    plans: tuple[tuple[JobPlan, tuple[Path, ...]], ...]
    rules: dict[str, RuleSet]
    files: tuple[Path, ...] = ()
    left_out: tuple[str, ...] = ()

    @property
    def keep(self) -> tuple[Path, ...]:
        """Files that no output may replace."""
        return (self.file, *self.files)

    @property
    def wide(self) -> tuple[str, ...]:
        """Patterns for flats over all plans."""
        return tuple(line.match for line in self.said.flats)

    def tasks(self, base: RuleSet, *, is_default: bool, is_said: bool) -> tuple[Task, ...]:
        """Each plan once for every storey it stands for and every rule set of its flats.

        Args:
            base: The rule set where the job names none; with `is_said`, also where it names one for
                all, because the command line comes first.
            is_default: Whether `base` is the packaged one.
            is_said: Whether `base` was given on the command line.
        """
        return tuple(
            task
            for plan, paths in self.plans
            for path in paths
            for storey in plan.stands_for or (plan.storey,)
            for task in self._parts(plan, path, storey, (base, is_default, is_said))
        )

    def _parts(
        self, plan: JobPlan, path: Path, storey: str, given: tuple[RuleSet, bool, bool]
    ) -> Iterator[Task]:
        base, is_default, is_said = given
        own = plan.rules or ("" if is_said else self.said.rules)
        lines = [(line, True) for line in plan.flats] + [(line, False) for line in self.said.flats]
        names = list(dict.fromkeys([own, *(n.rules or own for n, _ in lines if n.lay)]))
        sets = [self.rules[name] if name else base for name in names]
        choices = tuple(_choice(line, own, names, is_own=is_own) for line, is_own in lines)
        exclusions = (*_exclusions(plan.leave_out, own=True), *_exclusions(self.said.leave_out))
        title = [plan.name or path.stem, *([storey] if plan.stands_for else [])]
        for part, name in enumerate(names):
            more = [PurePosixPath(name).stem] if part else []
            yield Task(
                path=path,
                rules=sets[part],
                default_rules=is_default and not name,
                called=", ".join([*title, *more]),
                scope=Scope(
                    storey=storey,
                    storeys=plan.storeys,
                    choices=choices,
                    exclusions=exclusions,
                    part=part,
                    parts=tuple(s.name for s in sets),
                ),
            )


def _choice(line: FlatLine, own: str, names: Sequence[str], *, is_own: bool) -> Choice:
    part = names.index(line.rules or own) if line.lay else NOT_LAID
    return Choice(match=line.match, part=part, because=line.because, own=is_own)


def _exclusions(lines: Sequence[LeftOut], *, own: bool = False) -> Iterator[Exclusion]:
    for line in lines:
        for of in ("rooms", "flats", "storeys"):
            if match := getattr(line, of):
                yield Exclusion(of=of, match=match, because=line.because, own=own)


# --- reading ------------------------------------------------------------------------------------


def is_job_file(path: Path) -> bool:
    """Whether a path given among plans is meant as a job file."""
    return path.suffix.lower() in JOB_ENDINGS and not path.is_dir()


def load_job(path: Path) -> Job:
    """The job in a YAML file, its rule sets read and its drawings found.

    Raises:
        RuleError: with the place of everything that is wrong with it or with one of its rule sets.
        PlanError: a folder of drawings cannot be listed or holds none.
    """
    name = os.fspath(path)
    tree = read_yaml(yaml_text(path, name, JOB_FILE), name)
    if not isinstance(tree.data, dict):
        raise RuleError(tree.problems or (_no_job(tree, name),))
    said, problems = validated(tree, name, JobFile)
    if said is None:
        raise RuleError(in_order((*tree.problems, *problems)))
    reader = _Reader(path=path, tree=tree, said=said)
    plans = tuple(reader.plans())
    reader.check_patterns()
    files = dict(reader.rule_files())
    if reader.problems:
        raise RuleError(in_order(reader.problems))
    return Job(
        file=path,
        said=said,
        plans=plans,
        rules={
            **{key: load_rules_text(config_text(key), f"{key}.yaml") for key in config_names()},
            **{key: load_rules(file) for key, file in files.items()},
        },
        files=tuple(files.values()),
        left_out=tuple(reader.left_out),
    )


def _no_job(tree: YamlTree, name: str) -> RuleProblem:
    line, column = tree.place(()) if tree.data is not None else (None, None)
    return RuleProblem(
        code="JOB-301",
        file=name,
        line=line,
        column=column,
        what="The file holds no job.",
        remedy="Write 'plans:' and under it the drawings, each as '- file: level-1.dxf'.",
    )


@dataclass(slots=True, kw_only=True)
class _Reader:
    """Looks at what the model cannot: paths, names given twice, patterns."""

    path: Path
    tree: YamlTree
    said: JobFile
    problems: list[RuleProblem] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    _titles: dict[str, Keys] = field(default_factory=dict)

    def plans(self) -> Iterator[tuple[JobPlan, tuple[Path, ...]]]:
        """Each plan with its drawings."""
        for n, plan in enumerate(self.said.plans):
            key: Keys = ("plans", n)
            if plan.stands_for and (plan.storeys or plan.storey):
                what = "A plan that stands for several storeys shows one of them."
                self._add("JOB-304", (*key, "stands_for"), what, "Delete storey or storeys here.")
            found = self._inside((*key, "file"), plan.file)
            paths = self._drawings(found, plan, key) if found is not None else ()
            self._check_titles(plan, paths, key)
            yield plan, paths

    def _drawings(self, found: Path, plan: JobPlan, key: Keys) -> tuple[Path, ...]:
        if not found.is_dir():
            return (found,)
        listed = find_plans([found])
        self.left_out += listed.left_out
        kept = []
        for path in listed.paths:
            line = self._left_out(path, plan)
            if line is None:
                kept.append(path)
            else:
                self.left_out.append(f"{path}: {line.because or 'left out by the job.'}")
        if not kept:
            self._add("JOB-306", (*key, "file"), "Nothing of this folder is left.", "Delete it.")
        if plan.name and len(kept) > 1:
            what = f"One name for the {len(kept)} drawings of a folder."
            self._add("JOB-304", (*key, "name"), what, "List them one by one to name them.")
        return tuple(kept)

    def _left_out(self, path: Path, plan: JobPlan) -> LeftOut | None:
        lines = (*plan.leave_out, *self.said.leave_out)
        return next((n for n in lines if n.files and matches(path.name, n.files)), None)

    def _check_titles(self, plan: JobPlan, paths: Sequence[Path], key: Keys) -> None:
        """Two plans of one name would hide each other; one drawing twice counts twice."""
        for path in paths:
            for storey in plan.stands_for or ("",):
                title = f"{plan.name or path.stem}, {storey}".rstrip(", ").casefold()
                other = self._titles.setdefault(title, key)
                if other != key or (storey and plan.stands_for.count(storey) > 1):
                    line, _ = self.tree.place(other)
                    what = f"{show(title)} is in line {line} already."
                    self._add("JOB-303", key, what, "Delete it, or give each its own name.")
                    return

    def rule_files(self) -> Iterator[tuple[str, Path]]:
        """Every rule set that is named and is not a packaged one."""
        named: list[tuple[Keys, str]] = [(("rules",), self.said.rules)]
        named += [(("flats", n, "rules"), f.rules) for n, f in enumerate(self.said.flats)]
        for n, plan in enumerate(self.said.plans):
            named.append((("plans", n, "rules"), plan.rules))
            named += [
                (("plans", n, "flats", m, "rules"), f.rules) for m, f in enumerate(plan.flats)
            ]
        for key, text in named:
            if text and text not in config_names():
                found = self._inside(key, text)
                if found is not None:
                    yield text, found

    # --- paths ---

    def _inside(self, key: Keys, text: str) -> Path | None:
        """A file or folder in the folder of the job file; what is wrong goes to the problems."""
        folder = self.path.parent
        wrong = _trick(text)
        if wrong:
            self._add("JOB-302", key, f"{show(text)} {wrong}.", _STAY)
            return None
        found = folder / text
        try:
            if not found.resolve().is_relative_to(folder.resolve()):
                self._add("JOB-302", key, f"{show(text)} is a link that leads elsewhere.", _STAY)
                return None
            if found.exists():
                return found
            beside = sorted(p.name for p in found.parent.iterdir())
        except (OSError, RuntimeError):  # RuntimeError: links in a circle
            beside = []
        if key[-1] == "rules":
            beside += config_names()
        near = nearest(found.name, beside)
        named = str(PurePosixPath(text).with_name(near)) if near else ""
        remedy = f"Did you mean {named}?" if near else f"Paths start from {show(str(folder))}."
        self._add("JOB-305", key, f"There is no {show(text)}.", remedy)
        return None

    # --- patterns ---

    def check_patterns(self) -> None:
        """Empty parts match what has no name; a line that leaves nothing out, or several things."""
        self._lines((), self.said.flats, self.said.leave_out)
        for n, plan in enumerate(self.said.plans):
            self._lines(("plans", n), plan.flats, plan.leave_out)
            for m, pattern in enumerate(plan.storeys):
                self._pattern(("plans", n, "storeys", m), pattern)

    def _lines(self, above: Keys, flats: Sequence[FlatLine], out: Sequence[LeftOut]) -> None:
        for n, line in enumerate(flats):
            self._pattern((*above, "flats", n, "match"), line.match)
            if not line.lay and line.rules:
                key = (*above, "flats", n, "rules")
                self._add("JOB-308", key, "A rule set for flats that are not laid.", "Delete it.")
        for n, left in enumerate(out):
            named = [of for of in _LEFT_OUT if getattr(left, of)]
            if len(named) != 1:
                what = "Each line leaves out one thing."
                remedy = f"Write one of {', '.join(_LEFT_OUT)} in it."
                self._add("JOB-308", (*above, "leave_out", n), what, remedy)
            for of in named:
                self._pattern((*above, "leave_out", n, of), getattr(left, of))

    def _pattern(self, key: Keys, pattern: str) -> None:
        if not all(part.strip() for part in pattern.split("|")):
            what = f"The pattern {show(pattern)} has an empty part."
            self._add("JOB-307", key, what, 'Write names with | between them: "A*|B2".')

    def _add(self, code: str, key: Keys, what: str, remedy: str) -> None:
        line, column = self.tree.place(key)
        self.problems.append(
            RuleProblem(
                code=code,
                file=os.fspath(self.path),
                line=line,
                column=column,
                key=dotted(key),
                what=what,
                remedy=remedy,
            )
        )


_STAY: Final = "Put it in the folder of the job file, or below it, and write the way from there."


def _trick(text: str) -> str:
    """Why a path is not taken; empty for one that stays below where it starts."""
    if not text.isprintable():
        return "holds a control character"
    if "\\" in text:
        return "holds a backslash: folders are separated by /"
    if text.startswith(("/", "~")) or _DRIVE.match(text):
        return "does not start from the folder of the job file"
    if ".." in PurePosixPath(text).parts:
        return "leads out of the folder of the job file"
    return "" if PurePosixPath(text).parts else "names no file"
