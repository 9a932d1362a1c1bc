"""The rule set and the figures as written, kept in a dictionary of our own in the drawing."""

from __future__ import annotations

from typing import TypeVar

from ezdxf.document import Drawing
from ezdxf.entities.dictionary import Dictionary
from ezdxf.entities.dxfobj import XRecord
from pydantic import BaseModel, ValidationError

from importer.plan import Finding, Origin, PlanError, Severity
from layout.floor import PlanResult
from layout.rules import RuleSet
from layout.writers.dxf.scheme import LayerScheme
from layout.writers.dxf.xdata import APPID, Record, ascii_json, bay_record, chunks, fault_words

M = TypeVar("M", bound=BaseModel)

_RULES, _RECORD = "RULES", "RECORD"
_MOST_CHARACTERS = 50_000_000
"""A record longer than this was not written by this program."""


def has_record(doc: Drawing) -> bool:
    """True when the drawing carries our dictionary: it was marked before."""
    return APPID in doc.rootdict


def write_record(
    doc: Drawing,
    result: PlanResult,
    rules: RuleSet,
    scheme: LayerScheme,
    *,
    default_rules: bool,
) -> None:
    """Put the rule set and the record into the drawing."""
    assert result.plan is not None
    record = Record(
        file=result.plan.file,
        to_mm=result.plan.units.to_mm,
        layers=scheme.word,
        default_rules=default_rules,
        bays=tuple(bay_record(b) for b in result.bays),
    )
    dictionary = doc.rootdict.add_new_dict(APPID, hard_owned=True)
    for key, value in ((_RULES, rules), (_RECORD, record)):
        entry = dictionary.add_xrecord(key)
        entry.reset([(1, part) for part in chunks(ascii_json(value))])


def read_record(doc: Drawing, file: str) -> tuple[RuleSet, Record]:
    """The rule set and the record of a marked drawing.

    Raises:
        PlanError: it carries none, or one that cannot be understood.
    """
    dictionary = doc.rootdict.get(APPID)
    if not isinstance(dictionary, Dictionary):
        raise PlanError(
            _refusal(
                "OUT-111",
                "this is not a drawing marked by setout: it carries no record of a layout.",
                file,
                "Give the drawing that `setout lay` wrote. If a CAD program saved it since, save it as "
                "DXF of release 2000 or later: R12 cannot hold the record.",
            )
        )
    return _model(RuleSet, dictionary, _RULES, file), _model(Record, dictionary, _RECORD, file)


def _model(model: type[M], dictionary: Dictionary, key: str, file: str) -> M:
    entry = dictionary.get(key)
    parts = [str(t.value) for t in entry.tags if t.code == 1] if isinstance(entry, XRecord) else []
    try:
        if sum(map(len, parts)) > _MOST_CHARACTERS:
            raise PlanError(_damaged(key, "it is far too long", file))
        return model.model_validate_json("".join(parts))
    except ValidationError as fault:
        raise PlanError(_damaged(key, fault_words(fault), file)) from fault


def _damaged(key: str, what: str, file: str) -> Finding:
    return _refusal(
        "OUT-112",
        f"the record {key} in the drawing is damaged ({what}).",
        file,
        "Mark the architect's drawing again with `setout lay`.",
    )


def _refusal(code: str, what: str, file: str, remedy: str) -> Finding:
    return Finding(
        code=code, severity=Severity.REFUSED, what=what, where=Origin(file=file), remedy=remedy
    )
