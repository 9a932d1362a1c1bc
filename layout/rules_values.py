"""How the values of a rule set are written: lengths, shares, angles, counts, yes and no."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from layout.measures import (
    ANGLE_PATTERN,
    LENGTH_PATTERN,
    SHARE_PATTERN,
    YES_NO_PATTERN,
    parse_angle,
    parse_count,
    parse_length,
    parse_share,
    parse_yes_no,
)


@dataclass(frozen=True, slots=True)
class AlsoText:
    """Tells the JSON Schema that a value may be written as text too, which pydantic cannot see in the
    function that reads it.
    """

    pattern: str

    def __get_pydantic_json_schema__(
        self, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return {"anyOf": [handler(core), {"type": "string", "pattern": self.pattern}]}


Length = Annotated[float, BeforeValidator(parse_length), AlsoText(LENGTH_PATTERN)]
"""Millimetres; YAML may give a plain number (mm) or text with a unit: `1.2 m`, `3/8 in`, `48 in`."""
Share = Annotated[float, BeforeValidator(parse_share), AlsoText(SHARE_PATTERN)]
"""A part of one; YAML gives `3 %` or `0.03`."""
Angle = Annotated[float, BeforeValidator(parse_angle), AlsoText(ANGLE_PATTERN)]
"""Degrees counter-clockwise from the drawing's x axis; YAML gives `30` or `30 deg`."""
Count = Annotated[int, BeforeValidator(parse_count)]
YesNo = Annotated[bool, BeforeValidator(parse_yes_no), AlsoText(YES_NO_PATTERN)]


class Section(BaseModel):
    """A group of settings: frozen, and a key that it does not know is refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
