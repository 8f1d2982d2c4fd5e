"""Who must stop: controls assigned to the approaches of every intersection.

Signals hold for all approaches. STOP and YIELD points go to the approach they face: by bearing
where the data give one, else by the side of the street they stand on.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import cKDTree

from layoutgen.config import Params, choice, length
from layoutgen.errors import Finding
from layoutgen.gis.read import points_of
from layoutgen.street.design import Control
from layoutgen.street.precedence import CONTROL, control_name

#: rank of street classes, for telling the minor street
CLASS_RANK = {"freeway": 5, "ramp": 4, "arterial": 4, "collector": 3, "local": 2, "alley": 1}

#: a point this near the axis of a leg lies on it, and leads any leg it merely stands beside
_ON_AXIS_FT = 3.0
#: a roundabout that is one node
MINI = "mini_roundabout"
#: points that hold for all approaches, and what each of them must do
_OF_ALL: Mapping[str, Control] = {"signal": "signal", "all_way_stop": "stop", MINI: "yield"}
#: more findings that say the same become one
_FEW = 5
_ON_AXIS_LEAD_FT = 1000.0


class ControlParams(Params):
    """`[controls]`: how control points find their approach."""

    signal_reach_ft: float = length(
        "120 ft",
        low="10 ft",
        high="500 ft",
        source="common practice",
        text="a signal farther from every intersection is reported",
    )
    sign_reach_ft: float = length(
        "120 ft",
        low="10 ft",
        high="500 ft",
        source="common practice",
        text="a STOP or YIELD sign farther from every intersection is reported",
    )
    intersection_reach_ft: float = length(
        "60 ft",
        low="1 ft",
        high="300 ft",
        source="common practice",
        text="an intersection point farther from every node is reported",
    )
    infer: Literal["none", "class"] = choice(
        "none",
        source="common practice",
        text="class = where nothing is known, the street of lower class stops",
    )


@dataclass(frozen=True)
class Arm:
    """A leg before its layout: what finding its control needs."""

    bearing_deg: float
    half_width_ft: float
    street_class: str
    has_approach: bool
    xy: tuple[float, float]


@dataclass
class NodeControl:
    """Controls of one intersection: by leg number, and where they came from.

    `mini` = a mini roundabout: all yield, as at a roundabout.
    """

    control: dict[int, Control] = field(default_factory=dict)
    source: dict[int, str] = field(default_factory=dict)
    mini: bool = False

    def give(self, leg: int, control: Control, source: str) -> None:
        """The source that stands higher in `precedence.CONTROL` wins, of equal ones the first."""
        if leg in self.control:
            held = CONTROL.rank(control_name(self.control[leg], self.source[leg]))
            if held <= CONTROL.rank(control_name(control, source)):
                return
        self.control[leg], self.source[leg] = control, source

    def forget_classes(self) -> None:
        """What was inferred from classes holds only where nothing else is known."""
        for leg in [leg for leg, source in self.source.items() if source == "class"]:
            del self.control[leg], self.source[leg]


@dataclass(frozen=True)
class Crossing:
    """An intersection before its layout."""

    node: int
    places: tuple[tuple[float, float], ...]
    arms: tuple[Arm, ...]
    ring: bool = False

    @property
    def xy(self) -> tuple[float, float]:
        """Middle of its nodes."""
        n = len(self.places)
        return sum(p[0] for p in self.places) / n, sum(p[1] for p in self.places) / n

    def away_ft(self, xy: tuple[float, float]) -> float:
        """Distance of a point from the nearest node."""
        return min(math.dist(p, xy) for p in self.places)


def assign_controls(
    crossings: Sequence[Crossing],
    tables: Mapping[str, gpd.GeoDataFrame],
    params: ControlParams,
    side: str,
) -> tuple[list[NodeControl], list[Finding]]:
    """Controls per crossing, in order, from points, intersection rows and, if wished, classes."""
    out = [NodeControl() for _ in crossings]
    findings: list[Finding] = []
    if crossings:
        if "controls" in tables:
            search = _Search(crossings, *places_of(crossings), params, side, out)
            findings += _from_points(search, tables["controls"])
    elif "controls" in tables:
        findings += [_unplaced(row, None) for row in tables["controls"].to_dict("records")]
    for crossing, control in zip(crossings, out, strict=True):
        if crossing.ring:
            _yield_at_entries(crossing, control)
        elif params.infer == "class":
            _infer(crossing, control)
    return out, findings


def apply_whole(
    crossing: Crossing, control: NodeControl, whole: str | None, node_id: str
) -> list[Finding]:
    """Control of the whole intersection, as an intersections row names it."""
    if whole:
        control.forget_classes()
    if whole in ("signal", "all_way_stop", "stop", "yield", MINI):
        kind: Any = {"all_way_stop": "stop", MINI: "yield"}.get(whole, whole)
        control.mini |= whole == MINI
        for leg, arm in enumerate(crossing.arms):
            if arm.has_approach:
                control.give(leg, kind, "intersections")
    if whole != "two_way_stop" or control.control:
        return []
    _infer(crossing, control, "intersections")
    if control.control:
        return []
    text = "two_way_stop, but no leg is of lower class and no STOP point tells which street stops"
    return [
        Finding("minor_street_unknown", "warning", "intersections", node_id, text,
                "add STOP points, or street classes", None)
    ]  # fmt: skip


def whole_control(crossing: Crossing, control: NodeControl) -> str:
    """Name of the control of the whole intersection, from its approaches."""
    kinds = [control.control.get(i, "none") for i, a in enumerate(crossing.arms) if a.has_approach]
    if "signal" in kinds:
        return "signal"
    if kinds and all(kind == "stop" for kind in kinds):
        return "all_way_stop"
    if "stop" in kinds:
        return "two_way_stop"
    return "yield" if "yield" in kinds else "none"


@dataclass(frozen=True)
class _Search:
    """Where control points look for their approach."""

    crossings: Sequence[Crossing]
    tree: Any
    owner: Sequence[int]
    params: ControlParams
    side: str
    found: list[NodeControl]

    def near(self, xy: tuple[float, float], reach: float) -> list[int]:
        """Crossings within reach, nearest first."""
        out = {self.owner[k] for k in self.tree.query_ball_point(xy, reach)}
        return sorted(out, key=lambda k: (self.crossings[k].away_ft(xy), self.crossings[k].node))


def places_of(crossings: Sequence[Crossing]) -> tuple[Any, list[int]]:
    """Search tree over the nodes of all crossings, and the crossing each node belongs to."""
    owner = [k for k, crossing in enumerate(crossings) for _ in crossing.places]
    return cKDTree(np.array([p for c in crossings for p in c.places])), owner


def _from_points(search: _Search, table: gpd.GeoDataFrame) -> list[Finding]:
    """Give every control point to its crossing; report those that have none."""
    findings: list[Finding] = []
    places = points_of(table)
    for i in _stable_order(table, places):
        row, place = table.iloc[i], places[i]
        kind = row["control"]
        if place is None or place.is_empty or kind is None or kind != kind:
            findings.append(_unplaced(row, place))
        else:
            findings += _place(search, row, (place.x, place.y))
    return _grouped(findings)


def _grouped(findings: Sequence[Finding]) -> list[Finding]:
    """Many controls that are far from every intersection as one finding per kind of control."""
    alike: dict[str, list[Finding]] = defaultdict(list)
    for f in findings:
        alike[f.text if f.code == "control_far" else ""].append(f)
    out = alike.pop("", [])
    for text, own in alike.items():
        if len(own) <= _FEW:
            out += own
            continue
        ids = ", ".join(f.feature_id for f in own[:3] if f.feature_id)
        said = f"{text}, at {len(own)} places" + (f" ({ids}, ...)" if ids else "")
        place = shapely.multipoints([f.geometry for f in own])
        out.append(replace(own[0], text=said, geometry=place, rows=len(own)))
    return out


def _place(search: _Search, row: Any, xy: tuple[float, float]) -> list[Finding]:
    kind = row["control"]
    params = search.params
    reach = params.signal_reach_ft if kind == "signal" else params.sign_reach_ft
    near = search.near(xy, reach)
    if not near:
        return [_far(row, xy)]
    if kind in _OF_ALL:
        best = _best_approach(search, row, xy, near) if _told(row) else (0.0, 0, 0)
        # a point on the line of the approach it stops is for the crossing ahead, not the nearest
        ahead = best[1] if best[0] <= -_ON_AXIS_LEAD_FT / 2 else near[0]
        for leg, arm in enumerate(search.crossings[ahead].arms):
            if arm.has_approach:
                search.found[ahead].give(leg, _OF_ALL[kind], "controls")
        search.found[ahead].mini |= kind == MINI
        return []
    best = _best_approach(search, row, xy, near)
    if not math.isfinite(best[0]):
        return [_no_approach(row, xy)]
    search.found[best[1]].give(best[2], kind, "controls")
    return []


def _best_approach(
    search: _Search, row: Any, xy: tuple[float, float], near: Sequence[int]
) -> tuple[float, int, int]:
    """(misfit, crossing, leg) of the approach that a point fits best."""
    fits = (
        (_misfit(search.crossings[k], leg, xy, row, search.side), k, leg)
        for k in near[:3]
        for leg in range(len(search.crossings[k].arms))
    )
    return min(fits, default=(math.inf, 0, 0))


def _told(row: Any) -> bool:
    """Whether the data say which traffic faces a control."""
    return row["bearing_deg"] is not None and row["bearing_deg"] == row["bearing_deg"]


def _misfit(crossing: Crossing, leg: int, xy: tuple[float, float], row: Any, side: str) -> float:
    """How badly a sign fits an approach, in feet; infinite where it cannot belong to it."""
    arm = crossing.arms[leg]
    if not arm.has_approach:
        return float(np.inf)
    turn = 0.0
    if _told(row):
        inbound = (arm.bearing_deg + 180.0) % 360.0
        turn = abs((float(row["bearing_deg"]) - inbound + 180.0) % 360.0 - 180.0)
        if turn > 60.0:
            return float(np.inf)
    angle = np.radians(arm.bearing_deg)
    dx, dy = xy[0] - arm.xy[0], xy[1] - arm.xy[1]
    station = dx * np.sin(angle) + dy * np.cos(angle)
    offset = dx * np.cos(angle) - dy * np.sin(angle)
    if abs(offset) <= _ON_AXIS_FT < station:
        # a node of the street line itself, as OpenStreetMap has it: posts never stand there
        return float(turn / 2.0 + 0.05 * station - _ON_AXIS_LEAD_FT)
    own = -offset if side == "right" else offset
    beside = max(0.0, abs(offset) - arm.half_width_ft - 12.0)
    wrong_side = max(0.0, -own) * 2.0
    behind = max(0.0, -station) * 2.0
    return float(beside + wrong_side + behind + turn / 2.0 + 0.05 * abs(station))


def _yield_at_entries(crossing: Crossing, control: NodeControl) -> None:
    """Traffic that enters a roundabout yields, where nothing else is known (ROUND-01)."""
    for leg, arm in enumerate(crossing.arms):
        if arm.has_approach:
            control.give(leg, "yield", "roundabout")


def _infer(crossing: Crossing, control: NodeControl, source: str = "class") -> None:
    """The legs of lower class stop, where nothing is known and classes differ."""
    if control.control:
        return
    ranks = [CLASS_RANK.get(arm.street_class, 2) for arm in crossing.arms]
    for leg, arm in enumerate(crossing.arms):
        if arm.has_approach and ranks[leg] < max(ranks):
            control.give(leg, "stop", source)


def _stable_order(table: gpd.GeoDataFrame, places: Any) -> list[int]:
    """Row numbers in an order that does not depend on the order of the file."""
    keys: dict[tuple[Any, ...], list[int]] = defaultdict(list)
    for i, place in enumerate(places):
        at = (
            (round(place.x, 2), round(place.y, 2))
            if place is not None and not place.is_empty
            else ()
        )
        keys[(str(table["control"].iloc[i]), *at)].append(i)
    return [i for key in sorted(keys, key=str) for i in keys[key]]


def _unplaced(row: Any, place: Any) -> Finding:
    text = "the control point has no usable place or kind"
    fix = "give it a geometry and a kind: signal, stop, all_way_stop, yield or mini_roundabout"
    return Finding("control_unusable", "warning", "controls", _id(row), text, fix, place, 1)


def _far(row: Any, xy: tuple[float, float]) -> Finding:
    text = f"no intersection near this {row['control']}"
    fix = "move it, or raise the reach in [controls]; midblock signals are not laid out"
    return Finding("control_far", "warning", "controls", _id(row), text, fix, _point(xy), 1)


def _no_approach(row: Any, xy: tuple[float, float]) -> Finding:
    text = f"no approach of the nearest intersections faces this {row['control']}"
    fix = "correct its bearing or its place"
    return Finding("control_no_approach", "warning", "controls", _id(row), text, fix, _point(xy), 1)


def _point(xy: tuple[float, float]) -> Any:
    return shapely.Point(xy)


def _id(row: Any) -> str:
    value = row["control_id"]
    return "" if value is None or value != value else str(value)
