"""The model of the result: what every layout stage hands on and every writer speaks.

Frames
    Plan frame: millimetres in drawing coordinates, as in `importer.plan`.
    Bay frame: millimetres; x runs along the rows in the direction of laying, y across them, away
    from the start wall; the lowest row line that bounds the starter row is y = 0 or below. It may be
    mirrored against the plan frame (`Frame.mirrored`), because the hand of the plank decides at
    which end a row starts. Everything called `shape` here is in the bay frame unless it says plan.

Rows are counted from the starter row, which is 1; the row behind it would be -1 (there is no row
0). Pieces of a row are counted from 1 in the direction of laying.

Ends and hands
    Along x a plank has a near end (laid first) and a far end. A `first` piece keeps its plank's far
    factory end, a `last` piece the near one, a `full` piece both; an `only` piece (wall to wall)
    needs neither. Across, a piece whose run touches a row above it must keep its plank's far edge,
    one that touches a row below must keep the near edge (`keeps_far_edge`, `keeps_near_edge`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from math import hypot
from pathlib import PurePath
from typing import Final, NewType

from shapely import Polygon

from importer.plan import DoorwayId, Finding, FlatId, Plan, Point, RoomId, StoreyId
from layout.floor_laying import NO_DAMAGE as NO_DAMAGE  # noqa: PLC0414 - part of the model
from layout.floor_laying import DamagedPlanks as DamagedPlanks  # noqa: PLC0414
from layout.floor_laying import StageBorder as StageBorder  # noqa: PLC0414
from layout.floor_laying import Stretch as Stretch  # noqa: PLC0414
from layout.floor_order import Accessories as Accessories  # noqa: PLC0414
from layout.floor_order import BarOrder as BarOrder  # noqa: PLC0414
from layout.floor_order import Product as Product  # noqa: PLC0414
from layout.floor_order import SheetOrder as SheetOrder  # noqa: PLC0414
from layout.floor_setting_out import Alternative as Alternative  # noqa: PLC0414
from layout.floor_setting_out import EdgeStrip as EdgeStrip  # noqa: PLC0414
from layout.floor_setting_out import SettingOut as SettingOut  # noqa: PLC0414
from layout.floor_setting_out import Taper as Taper  # noqa: PLC0414
from layout.floor_site import SiteChange as SiteChange  # noqa: PLC0414
from layout.floor_site import SiteDimension as SiteDimension  # noqa: PLC0414
from layout.frame import Frame as Frame  # noqa: PLC0414

BayId = NewType("BayId", str)
PieceId = NewType("PieceId", str)
PlankId = NewType("PlankId", str)

# --- bays ---------------------------------------------------------------------------------------


class JointKind(Enum):
    """Where a floor is broken: under a door leaf, or across a bay."""

    THRESHOLD = "threshold"
    BAY_JOINT = "bay joint"


@dataclass(frozen=True, slots=True, kw_only=True)
class MovementJoint:
    """A break in the floor with a profile over it. `line` is in the plan frame. `why` is one plain
    sentence. `bays` are the floors on its two sides, fewer where one side is not laid.
    """

    id: str
    kind: JointKind
    line: tuple[Point, Point]
    why: str
    bays: tuple[BayId, ...]
    doorway: DoorwayId | None = None

    @property
    def length_mm(self) -> float:
        """Length of the profile that covers it."""
        (x0, y0), (x1, y1) = self.line
        return hypot(x1 - x0, y1 - y0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bay:
    """One continuous floor between movement joints. Both shapes are in the plan frame.

    `outline` is the space: rooms, plus the doorway areas up to their joints, less obstacles; its
    boundary is wall faces, jambs, obstacle faces and joint lines. `floor` is where planks lie:
    `outline` set back by the wall gap (`gap_mm`) everywhere, less `bare`: slots too thin for a plank.
    `through` are the doorways that the floor runs on through. `along` is the direction of the rows
    that the run limits were kept for, where the floor was broken for them; else None.
    """

    id: BayId
    name: str
    rooms: tuple[RoomId, ...]
    storey: StoreyId
    flat: FlatId | None
    outline: Polygon
    floor: Polygon
    gap_mm: float
    joints: tuple[str, ...] = ()
    through: tuple[DoorwayId, ...] = ()
    bare: tuple[Polygon, ...] = ()
    along: Point | None = None


# --- runs ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A continuous stretch of one row between two stops. `index` counts the bay's runs in the order
    row, then x. `void_start_mm` and `void_end_mm` are what an
    end piece needs beyond the least length, along its blank, so that its mean length (area / widest
    chord) still reaches that length: 0 for a square end, more for a slanted, stepped or notched one.
    """

    index: int
    row: int
    shape: Polygon
    x0: float
    x1: float
    y0: float
    y1: float
    void_start_mm: float = 0.0
    void_end_mm: float = 0.0
    touches_above: bool = False
    touches_below: bool = False

    @property
    def length_mm(self) -> float:
        """Bounding length along the row."""
        return self.x1 - self.x0


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """Two runs of neighbouring rows share the seam [x0, x1]; `below` and `above` are run indices.
    Two runs may touch in several intervals, each its own record.
    """

    below: int
    above: int
    x0: float
    x1: float


# --- pieces and stock ---------------------------------------------------------------------------


class Role(Enum):
    """A piece's place in its run; see the module docstring for what each keeps of its plank."""

    FULL = "full"
    FIRST = "first"
    LAST = "last"
    ONLY = "only"


class CutKind(Enum):
    """The three kinds of cut. An angled cross cut and a tapered rip are still one cut each."""

    CROSS = "cross"
    RIP = "rip"
    NOTCH = "notch"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One cut of a piece. `measures_mm`: a cross cut's length along the near and far long edge
    (equal when square); a rip's width at the start and at the end; a notch's length and depth.
    """

    kind: CutKind
    measures_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A plank or cut plank in its place. `shape` is in the bay frame. The blank it is cut from is
    `blank_length_mm` x `blank_width_mm` (bounding size); its lower left corner lies at `plank_x_mm`,
    `plank_y_mm` on plank `plank` (x from the near end, y from the near edge).
    `end_length_mm` is area / widest chord, the length that the minimum-end rule judges.
    """

    id: PieceId
    bay: BayId
    row: int
    run: int
    number: int
    role: Role
    shape: Polygon
    blank_length_mm: float
    blank_width_mm: float
    end_length_mm: float
    keeps_near_edge: bool
    keeps_far_edge: bool
    cuts: tuple[Cut, ...]
    plank: PlankId
    plank_x_mm: float
    plank_y_mm: float
    offcut_of: PieceId | None = None
    """The piece that was cut from the same plank before this one; None when it opens the plank."""
    order: int = 0
    """Place in the order of laying over the whole bay, from 1."""
    is_whole: bool = False
    """An uncut plank."""
    is_reversed: bool = False
    """Laid in reverse: the work goes back towards the start wall, tongue and groove swapped."""
    pushed: str = ""
    """Why the piece cannot be tilted in but is pushed home flat with the one beside it lifted (`under
    the frame of doorway D2`); empty where it is tilted in as usual."""
    stage: int = 1
    """The stage in which it is laid, from 1; more than one only where a line parts the work."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plank:
    """One board out of a pack: the pieces cut from it in order, and what is left of its length. It
    belongs to the bay of its first piece; where offcuts are pooled the others may lie in other bays.
    `offcut_mm` is the longest usable leftover (0 when below the length worth keeping), `waste_mm2`
    the area that is neither laid nor kept. `damage_mm` is how much of its near and of its far end may be
    damaged without harm, one end at a time, because no piece need be cut from there.
    """

    id: PlankId
    pieces: tuple[PieceId, ...]
    offcut_mm: float
    waste_mm2: float
    damage_mm: tuple[float, float] = (0.0, 0.0)


# --- judgement ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Breach:
    """A rule that could not be kept at one place. `rule` is the key in the rule set (`ends.min_length`)
    or a law of the layout (`overlap`, `coverage`, `stock`); `where` names the piece or row and `at`
    its place in the plan frame; `value` against `limit` in mm (mm2 for areas); `why` one sentence.
    """

    rule: str
    where: str
    at: Point
    value: float
    limit: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """How much the real room may differ from the drawing before a rule breaks: (shorter, longer)
    along the rows and (narrower, wider) across, e.g. (-12.0, 25.0), mm. `length_rules` and
    `width_rules` name the rule that breaks beyond each of the two; "" where none does.
    """

    length_mm: tuple[float, float]
    width_mm: tuple[float, float]
    length_rules: tuple[str, str] = ("", "")
    width_rules: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class BayLayout:
    """One bay laid out. Pieces are in laying order; `planks` are those opened for this bay, which bays
    that share its offcuts (`cut.pool`) may take pieces from. `bound` is the least number of planks that
    any layout under the rules needs; of bays that share offcuts it is their part of the pool's, so
    that the parts add up to it.
    """

    bay: Bay
    setting_out: SettingOut
    runs: tuple[Run, ...]
    pieces: tuple[Piece, ...]
    planks: tuple[Plank, ...]
    bound: int
    breaches: tuple[Breach, ...]
    window: Window
    alternatives: tuple[Alternative, ...] = ()
    stretches: tuple[Stretch, ...] = ()
    damaged: DamagedPlanks = NO_DAMAGE
    """How many of `planks` may come with a damaged end, each used where that end is cut away."""
    dimensions: tuple[SiteDimension, ...] = ()
    """What to measure on site before the first cut."""
    site: SiteChange | None = None
    """What measures from the site changed; None where the bay is laid as drawn."""
    stage_borders: tuple[StageBorder, ...] = ()
    """Where the work stops until the furniture has moved."""

    @property
    def start_corner(self) -> Point:
        """Where the first piece is laid from: its corner at the start, plan frame."""
        x0, y0, _, _ = self.pieces[0].shape.bounds
        return self.setting_out.frame.point_to_plan((x0, y0))

    @property
    def area_mm2(self) -> float:
        """Laid area."""
        return float(sum(p.shape.area for p in self.pieces))


@dataclass(frozen=True, slots=True, kw_only=True)
class UnlaidRoom:
    """A room that gets no planks, and why: by rule, or because nothing could be laid."""

    room: RoomId
    because: str


class PlanStatus(Enum):
    """How one plan came out."""

    CLEAN = "clean"
    TO_SETTLE = "to settle"
    FAILED = "failed"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanResult:
    """One plan through the pipeline. `plan` is None when it could not be read; `findings` holds the
    importer's and the layout's. `source` is the path of the drawing as the user gave it.
    """

    source: str
    status: PlanStatus
    plan: Plan | None
    called: str = ""
    """What the job calls it; empty where it goes by its drawing."""
    bays: tuple[BayLayout, ...] = ()
    joints: tuple[MovementJoint, ...] = ()
    unlaid: tuple[UnlaidRoom, ...] = ()
    findings: tuple[Finding, ...] = ()
    accessories: Accessories | None = None
    """What goes with the planks, thing by thing; None where it was not measured yet."""

    @property
    def title(self) -> str:
        """What people call it: as the job does, else as its drawing."""
        return self.called or PurePath(self.source).stem


_NO_BARS: Final = BarOrder()


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantities:
    """What a flat, storey or job needs of one product. Lengths in mm, areas in m2."""

    product: Product
    planks: int
    bound: int
    spare_planks: int
    packs: int
    net_area_m2: float
    waste_percent: float
    underlay_m2: float
    threshold_mm: tuple[float, ...]
    """Length of each threshold or joint profile, longest first."""
    skirting_mm: float
    """Wall that is covered."""
    underlay: SheetOrder | None = None
    membrane: SheetOrder | None = None
    profiles: BarOrder = _NO_BARS
    skirting: BarOrder = _NO_BARS
    collars: int = 0
    jambs: int = 0
    """Jambs of door frames that are cut for planks to run under."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobResult:
    """All plans of one job, and what to order: over all of it, by flat, by storey. Headings name the
    plan too where there are several.
    """

    plans: tuple[PlanResult, ...]
    totals: Quantities
    by_product: Mapping[str, Quantities]
    """What each rule set's plank is needed of; one, where one rule set holds for all."""
    by_flat: Mapping[str, Quantities]
    by_storey: Mapping[str, Quantities]
    rules_name: str
    default_rules: bool = False
