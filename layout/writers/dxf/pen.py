"""Marks into entities: the only place that makes CAD entities of the mark-up."""

from __future__ import annotations

from math import ceil, log10

from ezdxf.document import Drawing
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.enums import MTextEntityAlignment, TextEntityAlignment
from ezdxf.layouts import BaseLayout

from importer.plan import Point
from layout.writers.dxf.marks import Align, Dimension, Fill, Letter, Lines, Mark, Stroke
from layout.writers.dxf.styles import Styles
from layout.writers.dxf.xdata import APPID, Kind, entity_tags

_ALIGN = {
    Align.LEFT: TextEntityAlignment.MIDDLE_LEFT,
    Align.CENTRE: TextEntityAlignment.MIDDLE_CENTER,
    Align.RIGHT: TextEntityAlignment.MIDDLE_RIGHT,
}


_ATTACH = {
    Align.LEFT: MTextEntityAlignment.TOP_LEFT,
    Align.CENTRE: MTextEntityAlignment.TOP_CENTER,
    Align.RIGHT: MTextEntityAlignment.TOP_RIGHT,
}
_EXACT_SPACING = 2
_SPACING = 5 / 3
"""Line spacing of an MTEXT of factor 1, in heights of capitals."""


class Pen:
    """Draws marks given in millimetres into modelspace in drawing units, or into another space.

    `level_mm` is the height of the storey above z = 0. Dimensions lie at 0: their blocks are flat.
    """

    def __init__(
        self,
        doc: Drawing,
        styles: Styles,
        to_mm: float,
        space: BaseLayout | None = None,
        *,
        level_mm: float = 0.0,
    ) -> None:
        self._space = doc.modelspace() if space is None else space
        self.styles = styles
        self._to_mm = to_mm
        self._decimals = 3 + max(0, ceil(log10(to_mm)))
        self._level = round(level_mm / to_mm, self._decimals) + 0.0

    def draw(self, mark: Mark) -> None:
        """Add one mark."""
        if isinstance(mark, Stroke):
            self._stroke(mark)
        elif isinstance(mark, Letter):
            self._letter(mark)
        elif isinstance(mark, Lines):
            self._lines(mark)
        elif isinstance(mark, Fill):
            self._fill(mark)
        else:
            self._dimension(mark)

    def unit(self, p: Point) -> Point:
        """A place in drawing units, rounded to a thousandth of a millimetre or finer."""
        return (
            round(p[0] / self._to_mm, self._decimals) + 0.0,
            round(p[1] / self._to_mm, self._decimals) + 0.0,
        )

    def _placed(self, p: Point) -> tuple[float, ...]:
        """The same, at the height of the storey."""
        return (*self.unit(p), self._level) if self._level else self.unit(p)

    def _size(self, mm: float) -> float:
        return round(mm / self._to_mm, self._decimals + 3)

    def _layer(self, mark: Mark) -> dict[str, str]:
        return {"layer": self.styles.layers[mark.content]}

    def _stroke(self, mark: Stroke) -> None:
        points = [self.unit(p) for p in mark.points]
        entity: DXFGraphic
        if len(points) == 2 and not mark.closed:
            ends = [self._placed(p) for p in mark.points]
            entity = self._space.add_line(ends[0], ends[1], dxfattribs=self._layer(mark))
        else:
            entity = self._space.add_lwpolyline(
                points, close=mark.closed, dxfattribs=self._layer(mark)
            )
            if self._level:
                entity.dxf.elevation = self._level
        frame = mark.frame
        placed = (self.unit(frame[0]), frame[1], frame[2]) if frame is not None else None
        entity.set_xdata(APPID, entity_tags(mark.kind, mark.data, placed))

    def _letter(self, mark: Letter) -> None:
        entity = self._space.add_text(
            mark.text,
            height=self._size(mark.height),
            rotation=_degrees(mark.angle_deg),
            dxfattribs={**self._layer(mark), "style": self.styles.text},
        )
        entity.set_placement(self._placed(mark.at), align=_ALIGN[mark.align])
        self._ours(entity)

    def _lines(self, mark: Lines) -> None:
        entity = self._space.add_mtext(
            "\\P".join(_escaped(line) for line in mark.lines),
            dxfattribs={
                **self._layer(mark),
                "style": self.styles.text,
                "insert": self._placed(mark.at),
                "char_height": self._size(mark.height),
                "attachment_point": int(_ATTACH[mark.align]),
                "line_spacing_style": _EXACT_SPACING,
                "line_spacing_factor": round(mark.pitch / mark.height / _SPACING, 4),
            },
        )
        self._ours(entity)

    def _fill(self, mark: Fill) -> None:
        first, second, *rest = [self._placed(p) for p in mark.points]
        corners = [first, second, *reversed(rest)]  # SOLID wants its corners crosswise
        self._ours(self._space.add_solid(corners, dxfattribs=self._layer(mark)))

    def _dimension(self, mark: Dimension) -> None:
        along = (mark.end[0] - mark.start[0], mark.end[1] - mark.start[1])
        quarter = mark.text.angle_deg + 90.0
        figure = mark.text.box().centroid
        dimension = self._space.add_linear_dim(
            base=self.unit(mark.line_at),
            p1=self.unit(mark.start),
            p2=self.unit(mark.end),
            angle=_degrees(quarter),
            dimstyle=self.styles.dimension,
            location=self.unit((figure.x, figure.y)),
            text_rotation=_degrees(mark.text.angle_deg),
            dxfattribs=self._layer(mark),
        )
        if any(along):
            dimension.render()
        self._ours(dimension.dimension)

    def _ours(self, entity: DXFGraphic) -> None:
        entity.set_xdata(APPID, entity_tags(Kind.MARK))


def _escaped(line: str) -> str:
    """What MTEXT would read as a code of its own."""
    return line.replace("\\", "\\\\").replace("{", "\\{").replace("}", "\\}")


def _degrees(angle: float) -> float:
    return round(angle, 9) + 0.0
