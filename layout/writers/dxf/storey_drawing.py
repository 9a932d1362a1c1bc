"""The plan of one storey of a model as a drawing of its own, over which the setting-out goes.

Release 2010, millimetres, in the model's coordinates. It depends on the plan alone: no clock, no chance.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from math import atan2, degrees, hypot
from typing import Final

import ezdxf
import numpy as np
import shapely
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts.layout import Modelspace
from ezdxf.lldxf.tagwriter import TagWriter
from shapely import LineString, Polygon

from importer.plan import Drawn, DrawnKind, Plan, Point, Storey
from layout.writers.dxf.escapes import encoded
from layout.writers.dxf.lettering import from_drawing
from layout.writers.dxf.sizes import PLAN
from layout.writers.dxf.storey_labels import room_label
from layout.writers.dxf.storey_layers import FILL_OF, LOOKS, NAMES, PART_OF, Part

RELEASE: Final = "R2010"
_DIGITS: Final = 3
_DASHED: Final = "PLAN-DASHED"
_LETTERING: Final = "PLAN"
_DASH_MM: Final = (3.0, 1.5)
"""Dash and gap on paper."""
_ON_ARC_MM: Final = 0.05
"""Corners this near a circle are on it."""
_GUID: Final = "{00000000-0000-0000-0000-000000000000}"


def storey_drawing(plan: Plan, storey: Storey, scheme: str = "plain") -> bytes:
    """Draw a storey.

    Args:
        plan: a plan read from a model.
        storey: one of its storeys.
        scheme: word of the layer scheme.

    Returns:
        The DXF file.
    """
    doc = _document(NAMES[scheme])
    sheet = _Sheet(doc.modelspace(), NAMES[scheme])
    drawn = plan.drawn_of(storey.id)
    for thing in drawn:
        sheet.thing(thing)
    rooms = [r for r in plan.rooms if r.storey == storey.id]
    for room in rooms:
        sheet.ring(Part.AREA, room.shape)
        for line in room_label(room, drawn, plan.obstacles_of(room.id)):
            sheet.letter(Part.ROOM, line.text, line.at, line.height)
    shapes = [d.shape for d in drawn] + [r.shape for r in rooms]
    if not any(d.kind is DrawnKind.WALL for d in drawn):
        doc.layers.get(NAMES[scheme][Part.AREA]).dxf.plot = 1  # the rooms are all there is to see
    if shapes:
        x0, y0, x1, y1 = (float(v) for v in shapely.total_bounds(shapes))
        sheet.title(plan, storey, (x0, y0))
        doc.header["$EXTMIN"], doc.header["$EXTMAX"] = (x0, y0, 0.0), (x1, y1, 0.0)
        doc.set_modelspace_vport(
            height=1.1 * max(x1 - x0, y1 - y0), center=((x0 + x1) / 2, (y0 + y1) / 2)
        )
    return _written(doc)


def _document(names: Mapping[Part, str]) -> Drawing:
    doc = ezdxf.new(RELEASE)
    doc.header["$INSUNITS"] = 4
    doc.header["$MEASUREMENT"] = 1
    doc.header["$LWDISPLAY"] = 1
    doc.styles.new(_LETTERING, dxfattribs={"font": "arial.ttf"})
    dash, gap = (PLAN.paper(mm) for mm in _DASH_MM)
    doc.linetypes.add(_DASHED, [dash + gap, dash, -gap], description="overhead: dashed")
    for part, name in names.items():
        look = LOOKS[part]
        layer = doc.layers.new(
            name,
            dxfattribs={
                "color": look.aci,
                "lineweight": look.lineweight,
                "linetype": _DASHED if look.dashed else "Continuous",
                "plot": int(look.plots),
            },
        )
        layer.dxf.discard("material_handle")
    return doc


def _written(doc: Drawing) -> bytes:
    """The file with everything that the library takes from clock and chance set to constants."""
    for name in ("$FINGERPRINTGUID", "$VERSIONGUID"):
        doc.header[name] = _GUID
    for name in ("$TDCREATE", "$TDUCREATE", "$TDUPDATE", "$TDUUPDATE"):
        doc.header[name] = 2451544.5
    doc.ezdxf_metadata()["CREATED_BY_EZDXF"] = "setout"  # it would say when
    doc.commit_pending_changes()
    # The library adds the classes in use in the order of a set.
    for name in sorted(doc.entitydb.dxf_types_in_use()):
        doc.classes.add_class(name)
    doc.header["$HANDSEED"] = str(doc.entitydb.handles)
    stream = io.StringIO()
    doc.export_sections(TagWriter(stream, dxfversion=doc.dxfversion))
    return encoded(stream.getvalue(), doc.output_encoding)


class _Sheet:
    """Draws into model space on layers by part."""

    def __init__(self, msp: Modelspace, names: Mapping[Part, str]) -> None:
        self._msp = msp
        self._names = names

    def thing(self, thing: Drawn) -> None:
        """A body or line of the plan."""
        part = PART_OF[thing.kind]
        if isinstance(thing.shape, Polygon):
            if part in FILL_OF:
                self._fill(FILL_OF[part], thing.shape)
            self.ring(part, thing.shape)
        elif thing.kind is DrawnKind.DOOR_SWING:
            self._arc(part, thing.shape)
        else:
            self._line(part, _points(thing.shape.coords))

    def ring(self, part: Part, shape: Polygon) -> None:
        """Outline and holes."""
        for ring in (shape.exterior, *shape.interiors):
            self._msp.add_lwpolyline(
                _points(ring.coords)[:-1], close=True, dxfattribs={"layer": self._names[part]}
            )

    def _line(self, part: Part, points: Sequence[Point]) -> None:
        attribs = {"layer": self._names[part]}
        if len(points) == 2:
            self._msp.add_line(points[0], points[1], dxfattribs=attribs)
        else:
            self._msp.add_lwpolyline(points, dxfattribs=attribs)

    def _fill(self, part: Part, shape: Polygon) -> None:
        hatch = self._msp.add_hatch(color=256, dxfattribs={"layer": self._names[part]})
        for ring, flags in ((shape.exterior, 1), *((r, 16) for r in shape.interiors)):
            hatch.paths.add_polyline_path(_points(ring.coords)[:-1], is_closed=True, flags=flags)

    def _arc(self, part: Part, line: LineString) -> None:
        """A swing as the arc that its corners lie on; as it is where they lie on none."""
        found = arc_through(line)
        if found is None:
            self._line(part, _points(line.coords))
            return
        centre, radius, start, end = found
        self._msp.add_arc(
            _points([centre])[0],
            round(radius, _DIGITS),
            start,
            end,
            dxfattribs={"layer": self._names[part]},
        )

    def letter(
        self, part: Part, text: str, at: Point, height: float, *, left: bool = False
    ) -> None:
        """A line of text about its middle, or from its left end."""
        entity = self._msp.add_text(
            text,
            height=height,
            dxfattribs={"layer": self._names[part], "style": _LETTERING},
        )
        place = TextEntityAlignment.MIDDLE_LEFT if left else TextEntityAlignment.MIDDLE_CENTER
        entity.set_placement(_points([at])[0], align=place)

    def title(self, plan: Plan, storey: Storey, corner: Point) -> None:
        """Which storey of which model, below the plan."""
        x, y = corner[0], corner[1] - 3 * PLAN.large
        self.letter(Part.NOTE, from_drawing(storey.name), (x, y), PLAN.large, left=True)
        words = f"Drawn by setout from the model {from_drawing(plan.file)}, in its coordinates, mm."
        self.letter(Part.NOTE, words, (x, y - 2 * PLAN.large), PLAN.small, left=True)


def _points(coords: object) -> list[Point]:
    rounded = np.round(np.asarray(coords, dtype=np.float64)[:, :2], _DIGITS) + 0.0
    return [(float(x), float(y)) for x, y in rounded]


def arc_through(line: LineString) -> tuple[Point, float, float, float] | None:
    """The arc that all corners of a line lie on: centre, radius, start and end angle in degrees,
    counter-clockwise; None where they lie on none.
    """
    points = np.asarray(line.coords, dtype=np.float64)[:, :2]
    if len(points) < 4:
        return None
    origin = points[0].copy()
    local = points - origin
    middle, end = local[len(local) // 2], local[-1]
    twice = 2.0 * (middle[0] * end[1] - middle[1] * end[0])
    if abs(twice) < 1.0:
        return None
    m, e = middle @ middle, end @ end
    centre = np.array([end[1] * m - middle[1] * e, middle[0] * e - end[0] * m]) / twice
    radius = hypot(*centre)
    if np.abs(np.hypot(*(local - centre).T) - radius).max() > _ON_ARC_MM:
        return None
    turns = [degrees(atan2(p[1] - centre[1], p[0] - centre[0])) % 360.0 for p in (local[0], end)]
    start, stop = (round(t, 6) % 360.0 for t in (turns if twice > 0 else turns[::-1]))
    at = centre + origin
    return (float(at[0]), float(at[1])), radius, start, stop
