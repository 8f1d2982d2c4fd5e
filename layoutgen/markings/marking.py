"""What a rule says of one marking: where, what shape, and why. Nothing is drawn yet.

A marking stands in a `Frame`: the stations of a segment, or those of a leg, which grow outward from
the intersection. Offsets are positive to the right of growing station.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from layoutgen.config import Params, choice, length
from layoutgen.street.design import Cut, Leg, Segment
from layoutgen.street.intersection import LegNeeds

Color = Literal["white", "yellow", "green"]


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
    """One painted stripe of a line: solid where `painted_ft` is 0."""

    offset_ft: float
    width_ft: float
    painted_ft: float = 0.0
    gap_ft: float = 0.0


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
class FigureShape:
    """A rigid figure: upstream edge at a station, centred on an offset, read by `facing` traffic.

    `facing` is +1 for a driver who travels along growing station, -1 for one who comes the other
    way; `upstream_ft` is the station of the edge nearest that driver.
    """

    name: str
    upstream_ft: float
    offset_ft: float
    facing: int
    text: str = ""
    height_ft: float = 0.0
    width_ft: float = 0.0


Shape = LineShape | BarsShape | TeethShape | FigureShape


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

    @property
    def is_line(self) -> bool:
        return isinstance(self.shape, LineShape)


class RuleParams(Params):
    """Settings that every rule has."""

    enabled: bool = choice(True, source="design", text="false = the rule asks for nothing")


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
        on: `approach` (leg with inbound lanes), `leg`, or `block`.
        params: settings model; its defaults name their sources.
        mark: site and settings -> markings.
        needs: settings and leg attributes -> fields of `LegNeeds`, for positions that rules share.
    """

    on: Literal["approach", "leg", "block"]
    params: type[RuleParams]
    mark: MarkFunction
    needs: NeedsFunction | None = None
    text: str = field(default="")


def no_needs() -> LegNeeds:
    """Needs of a leg that no rule wants anything on."""
    return LegNeeds()
