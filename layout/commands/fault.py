"""A fault of the program in words. Imports nothing of the project, which may be what is at fault."""

from __future__ import annotations

import re
from pathlib import PurePath
from typing import Final

FAULT_REMEDY: Final = "This is a fault of the program: please report it with the drawing."


def fault_words(error: BaseException) -> str:
    """A fault of the program in one sentence: what, and where in the code."""
    places = re.findall(r'File "([^"]+)", line (\d+)', str(error.__cause__ or ""))
    trace = error.__traceback__
    while trace is not None:
        places.append((trace.tb_frame.f_code.co_filename, str(trace.tb_lineno)))
        trace = trace.tb_next
    where = f" ({PurePath(places[-1][0]).name}:{places[-1][1]})" if places else ""
    said = " ".join(str(error).split())[:200]
    return f"setout failed here: {type(error).__name__}{where}{': ' if said else ''}{said}."
