"""What a rule says of one marking: where, what shape, and why. Nothing is drawn yet.

A marking stands in a `Frame`: the stations of a segment, or those of a leg, which grow outward from
the intersection. Offsets are positive to the right of growing station.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from pydantic import PrivateAttr

from layoutgen.config import Params, choice, length
from layoutgen.markings.conformity import Check
from layoutgen.markings.symbols import Figure, figure
from layoutgen.street.design import Cut, Leg, Segment
from layoutgen.street.intersection import LegNeeds

#: MUTCD 11th edition 3A.03 (LINE-14); black only for contrast
Color = Literal["white", "yellow", "green", "red", "blue", "purple", "black"]
#: paint that lies under white and yellow
GROUNDS: tuple[Color, ...] = ("green", "red", "blue", "purple", "black")


@dataclass(frozen=True)
class Frame:
    """Station system: along a segment, or (reverse) from its last point back."""

    segment: Segment
    reverse: bool = False

    @classmethod
    def of_leg(cls, leg: Leg) -> Frame:
        """Stations that grow outward from the leg's intersection."""
        return cls(leg.segment, leg.at_end)

    def station(self, station_ft: float) -> float:
        """Segment station of a frame station."""
        return self.segment.length_ft - station_ft if self.reverse else station_ft

    def sign(self) -> int:
        """+1 where the frame runs along the segment, else -1."""
        return -1 if self.reverse else 1


@dataclass(frozen=True)
class Stroke:
    """One painted stripe of a line: solid where `painted_ft` is 0.

    A stripe with a `stop_offset_ft` slants: it lies at that offset where the line stops.
    """

    offset_ft: float
    width_ft: float
    painted_ft: float = 0.0
    gap_ft: float = 0.0
    stop_offset_ft: float | None = None


@dataclass(frozen=True)
class LineShape:
    """Stripes that follow the axis between two stations."""

    start_ft: float
    stop_ft: float
    strokes: tuple[Stroke, ...]


@dataclass(frozen=True)
class Bar:
    """Area between two cuts and two offsets; its sides are parallel to travel."""

    near: Cut
    far: Cut
    left_ft: float
    right_ft: float


@dataclass(frozen=True)
class BarRow(Bar):
    """Several bars between the same two cuts, from the leftmost to the rightmost offset.

    `sides` are the (left, right) offsets of each.
    """

    sides: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class BarsShape:
    """Straight bars in the frame at right angles to the axis at a base station."""

    base_ft: float
    bars: tuple[Bar, ...]


@dataclass(frozen=True)
class TeethShape:
    """Row of equal triangles whose bases stand on a cut and whose tips lie farther out on the leg.

    Between `left_ft` and `right_ft`, in the straight frame at right angles to the axis at a base
    station; triangles point along the axis, toward the traffic that comes.
    """

    base_ft: float
    cut: Cut
    left_ft: float
    right_ft: float
    count: int
    width_ft: float
    height_ft: float
    gap_ft: float


@dataclass(frozen=True)
class Patch:
    """A straight-sided area: corners (station, offset) in the straight frame at a base station."""

    base_ft: float
    corners: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class PatchesShape:
    """Areas of any outline, each rigid in its own frame, so that a long row follows a curve."""

    patches: tuple[Patch, ...]


@dataclass(frozen=True)
class LinkShape:
    """Stripes from a point of the marking's frame to a point of another: through an intersection.

    The path leaves the marking's frame against growing station and enters the other along growing
    station, as from leg to leg; between them it bends evenly. Offsets of the strokes count from the
    path, positive to the right of its run.
    """

    start_ft: float
    start_offset_ft: float
    to: Frame
    stop_ft: float
    stop_offset_ft: float
    strokes: tuple[Stroke, ...]


@dataclass(frozen=True)
class GroundShape:
    """An area given on the plane, such as that of an intersection; `base_ft` is its station."""

    area: Any
    base_ft: float


@dataclass(frozen=True)
class FigureShape:
    """A rigid figure: upstream edge at a station, centred on an offset, read by `facing` traffic.

    `facing` is +1 for a driver who travels along growing station, -1 for one who comes the other
    way; `upstream_ft` is the station of the edge nearest that driver. `drawing` is what is painted;
    without it `name` is a shipped figure, or `text` a word of that height and width.
    """

    name: str
    upstream_ft: float
    offset_ft: float
    facing: int
    text: str = ""
    height_ft: float = 0.0
    width_ft: float = 0.0
    drawing: Figure | None = None


Shape = LineShape | BarsShape | TeethShape | PatchesShape | LinkShape | GroundShape | FigureShape


@dataclass(frozen=True)
class Marking:
    """One marking as a rule wants it.

    Attributes:
        kind: marking kind; the first part of its id.
        frame: station system of all its positions.
        shape: what to draw, in frame coordinates.
        color: paint color.
        travel: direction the truck moves in while painting, in frame coordinates; 0 = either.
        anchor: id of the leg or segment it belongs to; the second part of its id.
        station_ft, offset_ft: anchor point in frame coordinates.
        width_ft: width of the line or of the figure.
        style: style of the kind.
        reason: why it is there.
        sources: rows of the standard it follows.
        tag: third part of its id, where a kind has several parts.
        intersection_id: intersection it belongs to, or empty.
        priority: of two markings that collide the one with the larger number stays.
        district: label of the district of its leg or block; the engine sets it.
        shift_ft: a figure that collides may be moved this far along the street, either way.
        clear_ft: distance that a figure keeps to other figures.
        within: pavement that must hold all of it, else it is left out with a finding; None = any.
        group: figures of one name are moved or left out together, such as a symbol and its arrow.
        refused: why it cannot be painted, for a finding in its place; empty = it can.
    """

    kind: str
    frame: Frame
    shape: Shape
    color: Color
    travel: int
    anchor: str
    station_ft: float
    offset_ft: float
    width_ft: float
    style: str
    reason: str
    sources: tuple[str, ...]
    tag: str = ""
    intersection_id: str = ""
    priority: int = 50
    district: str = ""
    shift_ft: float = 0.0
    clear_ft: float = 0.0
    group: str = ""
    within: Any = field(default=None, compare=False, repr=False)
    refused: str = ""

    @property
    def is_line(self) -> bool:
        return isinstance(self.shape, LineShape | LinkShape)


class RuleParams(Params):
    """Settings that every rule has."""

    enabled: bool = choice(True, source="design", text="false = the rule asks for nothing")

    #: figures that the project draws itself, by name
    _own: Mapping[str, Figure] = PrivateAttr(default_factory=dict)

    def figure(self, name: str) -> Figure:
        """A figure by name: the project's own drawing, else the shipped one.

        Raises:
            ValueError: no such figure; the message names the nearest.
        """
        return self._own.get(name) or figure(name)

    def drawn(self, marking: Marking) -> Marking:
        """The marking with the project's own drawing, where it asks for a figure of that name."""
        shape = marking.shape
        if not self._own or not isinstance(shape, FigureShape) or shape.text:
            return marking
        own = self._own.get(shape.name)
        if own is None or shape.drawing is not None:
            return marking
        return replace(marking, shape=replace(shape, drawing=own), width_ft=own.width_ft)

    def with_figures(self, own: Mapping[str, Figure]) -> RuleParams:
        """The same settings, which draw the figures of a project."""
        out = self.model_copy()
        out._own = own
        return out


class LineParams(RuleParams):
    """Settings of rules that paint solid and broken lines along a street."""

    line_width_ft: float = length(
        "4 in", low="4 in", high="6 in", source="LINE-01", text="normal line"
    )
    painted_ft: float = length(
        "10 ft", low="5 ft", high="20 ft", source="LINE-04", text="piece of a broken line"
    )
    gap_ft: float = length(
        "30 ft", low="10 ft", high="60 ft", source="LINE-05", text="gap of a broken line"
    )
    shortest_ft: float = length(
        "20 ft",
        low="0 ft",
        high="200 ft",
        source="common practice",
        text="shorter stretches are left unmarked",
    )


MarkFunction = Callable[[Any, Any], Iterator[Marking]]
NeedsFunction = Callable[[Any, Mapping[str, Any]], dict[str, float]]


@dataclass(frozen=True)
class Rule:
    """A marking rule: what it looks at, its settings, and what it asks for.

    Attributes:
        on: `approach` (leg with inbound lanes), `leg`, `block`, or `intersection`.
        params: settings model; its defaults name their sources.
        mark: site and settings -> markings.
        needs: settings and leg attributes -> fields of `LegNeeds`, for positions that rules share.
        checks: what `layoutgen check --layout` asks of its markings, or of sites that lack them.
        inside: its markings may lie in the area of an intersection.
    """

    on: Literal["approach", "leg", "block", "intersection"]
    params: type[RuleParams]
    mark: MarkFunction
    needs: NeedsFunction | None = None
    text: str = field(default="")
    checks: tuple[Check, ...] = ()
    inside: bool = False


def no_needs() -> LegNeeds:
    """Needs of a leg that no rule wants anything on."""
    return LegNeeds()
