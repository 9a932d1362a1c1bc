"""What is wrong with a rule file, for the person who wrote it.

Codes are stable, the wording is free: RUL-1xx the file and its YAML, RUL-2xx a setting or its value,
RUL-3xx settings that contradict each other or cannot be meant. Site files: SIT-2xx what is written,
SIT-3xx what does not fit the layout.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleProblem:
    """One thing to mend. `line` and `column` count from 1 and are None when the whole file is meant;
    `key` is the setting, dotted (`ends.min_length`, `rooms[2].match`), empty when there is none.
    `what`, `why` and `remedy` are sentences; `why` may be empty.
    """

    code: str
    file: str
    line: int | None = None
    column: int | None = None
    key: str = ""
    what: str
    why: str = ""
    remedy: str

    @property
    def place(self) -> str:
        """File, line and column as editors take them."""
        if self.line is not None and self.column is not None:
            return f"{self.file}:{self.line}:{self.column}"
        return self.file

    def __str__(self) -> str:
        sentences = (self.what, self.why, self.remedy)
        return f"{self.place}: [{self.code}] {' '.join(s for s in sentences if s)}"


class RuleError(Exception):
    """A rule file that cannot be used. Takes one frozen record, so that it pickles.

    `problems` is never empty and goes down the file from top to bottom.
    """

    def __init__(self, problems: tuple[RuleProblem, ...]) -> None:
        super().__init__(problems)
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join(str(p) for p in self.problems)
