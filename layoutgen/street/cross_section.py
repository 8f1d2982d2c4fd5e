"""Cross-sections: strips from the left curb to the right curb, seen along the axis.

One place knows left from right and fills in what the data do not say. The axis runs in the middle
of the roadway. Precedence: attribute of the street, then what its width tells, then the default of
its class; the source of width and lanes is kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from layoutgen.config import Params, choice, length, measure, number
from layoutgen.errors import Finding
from layoutgen.street.design import Side, Strip, StripKind
from layoutgen.street.network import StreetRow

CenterLine = Literal["none", "broken", "double_solid"]
SideName = Literal["none", "left", "right", "both"]

#: kind, direction and width of a strip before it is placed
_Part = tuple[StripKind, int, float]

#: facilities that are a bike lane for traffic in the direction of the lane beside it
_BIKE_LANES = ("lane", "buffered", "separated")

MOVEMENTS = ("left", "through", "right", "reverse", "merge", "none")


class ClassDefaults(Params):
    """`[defaults.<street_class>]`: what is assumed where the data say nothing."""

    lanes: int = number(
        2, low=1, high=12, source="from memory", text="travel lanes, both directions together"
    )
    lanes_oneway: int = number(
        1, low=1, high=8, source="from memory", text="travel lanes of a one-way street"
    )
    lane_width_ft: float = length(
        "11 ft", low="8 ft", high="14 ft", source="from memory", text="travel lane"
    )
    roadway_width_ft: float = length(
        "0 ft",
        low="0 ft",
        high="200 ft",
        source="from memory",
        text="curb to curb on two-way streets; 0 = sum of the strips",
    )
    roadway_oneway_ft: float = length(
        "0 ft",
        low="0 ft",
        high="120 ft",
        source="from memory",
        text="curb to curb on one-way streets; 0 = sum of the strips",
    )
    parking: SideName = choice("none", source="from memory", text="parallel parking lane")
    center_line: CenterLine = choice(
        "none", source="CENTER-02..06", text="center line of two-way streets of this class"
    )
    speed_mph: float = measure(
        "speed", "25 mph", low="5 mph", high="85 mph", source="from memory", text="speed limit"
    )


class StripParams(Params):
    """`[cross_section]`: widths of the strips beside the travel lanes."""

    parking_width_ft: float = length(
        "8 ft", low="6 ft", high="12 ft", source="PARK-09", text="parking lane"
    )
    bike_lane_width_ft: float = length(
        "5 ft", low="3 ft", high="10 ft", source="BIKE-24", text="bike lane"
    )
    turn_lane_width_ft: float = length(
        "11 ft", low="8 ft", high="16 ft", source="BIKE-30", text="two-way left-turn lane"
    )
    lane_min_ft: float = length(
        "8 ft",
        low="6 ft",
        high="12 ft",
        source="common practice",
        text="narrower travel lanes are not planned: parking is dropped first",
    )
    lane_max_ft: float = length(
        "13 ft",
        low="10 ft",
        high="30 ft",
        source="common practice",
        text="on streets with lane lines, width beyond this is left as a shoulder at the curb",
    )


@dataclass(frozen=True)
class Section:
    """Cross-section of one street and where it came from."""

    strips: tuple[Strip, ...]
    width_ft: float
    width_source: str
    lanes_source: str
    turn_lanes: Mapping[int, tuple[tuple[str, ...], ...]]


@dataclass(frozen=True)
class _Lanes:
    """Travel lanes each way, the center lane, and where the counts came from."""

    forward: int
    backward: int
    center: bool
    source: str


@dataclass(frozen=True)
class _Wish:
    """What a street should hold between its curbs."""

    row: StreetRow
    lanes: _Lanes
    parking: frozenset[str]
    bike: frozenset[str]
    params: StripParams

    @property
    def beside_ft(self) -> float:
        """Width of all strips that are not travel lanes."""
        center = self.params.turn_lane_width_ft if self.lanes.center else 0.0
        parking = len(self.parking) * self.params.parking_width_ft
        return center + parking + len(self.bike) * self.params.bike_lane_width_ft


def build_section(
    row: StreetRow,
    defaults: ClassDefaults,
    params: StripParams,
    side: Side,
    edges: tuple[float, float] | None = None,
) -> tuple[Section, list[Finding]]:
    """Cross-section of one street.

    Args:
        row: attributes relative to the axis.
        defaults: of its class.
        params: strip widths.
        side: driving side.
        edges: measured distance from the axis to the left and the right curb, if known.

    Returns:
        Strips that fill the roadway without gap or overlap, and findings about contradictions.
    """
    findings: list[Finding] = []
    turns = {
        1: parse_turn_lanes(row.turn_lanes_forward),
        -1: parse_turn_lanes(row.turn_lanes_backward),
    }
    lanes = _lane_counts(row, defaults, turns, findings)
    parking = row.parking if row.parking is not None else defaults.parking
    wish = _Wish(
        row,
        lanes,
        _told_sides(_sides(parking), (row.parking_left, row.parking_right), ("parallel",)),
        _told_sides(_sides(row.bike_lane), (row.bike_left, row.bike_right), _BIKE_LANES),
        params,
    )
    width, source = (sum(edges), "curbs") if edges else _width(wish, defaults)
    wish, lane_ft, shoulder = _fit(wish, width, findings)
    strips = _placed(_strips(wish, side, lane_ft, shoulder), edges)
    total = strips[-1].right_ft - strips[0].left_ft
    kept = {way: turn for way, turn in turns.items() if turn and _turns_fit(turn, way, lanes)}
    findings += _turn_findings(row, turns, kept, lanes)
    return Section(strips, total, source, lanes.source, kept), findings


def parse_turn_lanes(text: str) -> tuple[tuple[str, ...], ...]:
    """Movements per lane from "left|through|through;right"; an empty lane text means through."""
    if not text:
        return ()
    return tuple(_movements(lane) for lane in text.split("|"))


def strips_text(strips: Sequence[Strip]) -> str:
    """Strips for people: `parking 8.0 | bike_lane< 5.0 | travel_lane> 11.0` (< > = direction)."""
    arrow = {1: ">", -1: "<", 0: ""}
    return " | ".join(f"{s.kind}{arrow[s.direction]} {s.width_ft:.1f}" for s in strips)


def _movements(lane: str) -> tuple[str, ...]:
    parts = [
        part.strip().removeprefix("slight_").removeprefix("sharp_") for part in lane.split(";")
    ]
    known = {
        part if part in MOVEMENTS else _merge(part) for part in parts if part not in ("", "none")
    }
    return tuple(m for m in MOVEMENTS if m in known) or ("through",)


def _merge(part: str) -> str:
    return "merge" if part.startswith("merge") else "through"


def _sides(text: str | None) -> frozenset[str]:
    return {"left": frozenset(["left"]), "right": frozenset(["right"])}.get(
        text or "none", frozenset(["left", "right"]) if text == "both" else frozenset()
    )


def _told_sides(
    usual: frozenset[str], told: tuple[str, str], kinds: Sequence[str]
) -> frozenset[str]:
    """Sides with a strip: what is told of a side alone comes before what is told of the street."""
    pairs = zip(("left", "right"), told, strict=True)
    return frozenset(name for name, own in pairs if (own in kinds if own else name in usual))


def _lane_counts(
    row: StreetRow, defaults: ClassDefaults, turns: Mapping[int, Any], findings: list[Finding]
) -> _Lanes:
    if row.oneway != "both":
        return _oneway_lanes(row, defaults, turns)
    center = row.center_turn_lane
    if row.lanes_forward and row.lanes_backward:
        return _Lanes(row.lanes_forward, row.lanes_backward, center, "attribute")
    one = row.lanes_forward or row.lanes_backward
    if row.lanes and one and row.lanes > one + int(center):
        other = row.lanes - one - int(center)
        pair = (one, other) if row.lanes_forward else (other, one)
        return _Lanes(*pair, center, "attribute")
    if row.lanes and row.lanes > 1:
        return _even_lanes(row, center, findings)
    forward = len(turns[1]) or row.lanes_forward or 0
    backward = len(turns[-1]) or row.lanes_backward or 0
    if forward or backward:
        half = max(1, defaults.lanes // 2)
        return _Lanes(forward or half, backward or half, center, "attribute")
    half = _default_half(row, defaults)
    return _Lanes(half, half, center, "class default" if row.lanes is None else "attribute")


def _oneway_lanes(row: StreetRow, defaults: ClassDefaults, turns: Mapping[int, Any]) -> _Lanes:
    way = 1 if row.oneway == "forward" else -1
    given = (row.lanes_forward if way == 1 else row.lanes_backward) or row.lanes or len(turns[way])
    count = given or defaults.lanes_oneway
    source = "attribute" if given else "class default"
    return _Lanes(count if way == 1 else 0, count if way == -1 else 0, False, source)


def _even_lanes(row: StreetRow, center: bool, findings: list[Finding]) -> _Lanes:
    """Total lane count shared evenly; an odd lane without a center turn lane is not assigned."""
    total = int(row.lanes or 0) - int(center)
    if total % 2:
        text = f"{row.lanes} lanes on a two-way street: the odd lane is given to neither direction"
        fix = "give lanes_forward and lanes_backward, or center_turn_lane"
        findings.append(Finding("odd_lane", "notice", "streets", row.segment_id, text, fix))
    half = max(1, total // 2)
    return _Lanes(half, half, center, "attribute")


def _default_half(row: StreetRow, defaults: ClassDefaults) -> int:
    """Default lanes each way, fewer where a known width cannot hold them."""
    half = max(1, defaults.lanes // 2)
    while half > 1 and row.width_ft and row.width_ft / (2 * half) < defaults.lane_width_ft - 2.0:
        half -= 1
    return half


def _width(wish: _Wish, defaults: ClassDefaults) -> tuple[float, str]:
    row, lanes = wish.row, wish.lanes
    if row.width_ft:
        return row.width_ft, "attribute"
    count = lanes.forward + lanes.backward
    two_way = row.oneway == "both"
    usual = defaults.roadway_width_ft if two_way else defaults.roadway_oneway_ft
    if usual and lanes.source == "class default":
        return max(usual, wish.beside_ft + count * wish.params.lane_min_ft), "class default"
    strips = count * defaults.lane_width_ft + wish.beside_ft
    if usual and not row.says_parking:
        # lanes alone do not tell the width: cars may park beside them as on others of the class
        more = count - (2 * max(1, defaults.lanes // 2) if two_way else defaults.lanes_oneway)
        strips = max(strips, usual + more * defaults.lane_width_ft)
    return strips, "class default"


def _fit(wish: _Wish, width: float, findings: list[Finding]) -> tuple[_Wish, float, float]:
    """(what fits, lane width, shoulder at each curb): parking gives way first."""
    lanes, params, name = wish.lanes, wish.params, wish.row.segment_id
    count = lanes.forward + lanes.backward
    lane = (width - wish.beside_ft) / count
    if lane < params.lane_min_ft and wish.parking:
        text = f"{width:.1f} ft are too narrow for the parking lanes; they were left out"
        fix = "correct width, lanes or parking"
        findings.append(Finding("parking_does_not_fit", "notice", "streets", name, text, fix))
        wish = replace(wish, parking=frozenset())
        lane = (width - wish.beside_ft) / count
    if lane < params.lane_min_ft:
        text = f"{width:.1f} ft leave {lane:.1f} ft per lane; lanes of the least width were assumed"
        fix = "correct width or lanes"
        findings.append(Finding("narrow_lanes", "warning", "streets", name, text, fix))
        return wish, params.lane_min_ft, 0.0
    if max(lanes.forward, lanes.backward) > 1 or lanes.center:
        spare = max(0.0, lane - params.lane_max_ft) * count / 2
        return wish, min(lane, params.lane_max_ft), spare
    return wish, lane, 0.0


def _strips(wish: _Wish, side: Side, lane_ft: float, shoulder: float) -> list[_Part]:
    """Strips from the left curb to the right curb."""
    ways = [(-1, wish.lanes.backward), (1, wish.lanes.forward)]
    left_way, right_way = ways if side == "right" else ways[::-1]
    travel: list[_Part] = [("travel_lane", left_way[0], lane_ft)] * left_way[1]
    center: _Part = ("center_turn_lane", 0, wish.params.turn_lane_width_ft)
    travel += [center] * int(wish.lanes.center)
    travel += [("travel_lane", right_way[0], lane_ft)] * right_way[1]
    parts = _curb_side("left", travel[0][1], wish, shoulder) + travel
    return parts + _curb_side("right", travel[-1][1], wish, shoulder)[::-1]


def _curb_side(name: str, way: int, wish: _Wish, shoulder: float) -> list[_Part]:
    """Strips of one side, from the curb inward; a bike lane goes the way of the lane beside it."""
    parts: list[_Part] = []
    if shoulder > 0.01:
        parts.append(("shoulder", 0, shoulder))
    if name in wish.parking:
        parts.append(("parking", 0, wish.params.parking_width_ft))
    if name in wish.bike:
        parts.append(("bike_lane", way, wish.params.bike_lane_width_ft))
    return parts


def _placed(parts: Sequence[_Part], edges: tuple[float, float] | None) -> tuple[Strip, ...]:
    """Strips with their offsets: between the measured curbs, else centred on the axis."""
    total = sum(width for _, _, width in parts)
    at = -total / 2 + ((edges[1] - edges[0]) / 2 if edges else 0.0)
    out = []
    for kind, way, width in parts:
        out.append(Strip(kind, way, at, at + width))
        at += width
    return tuple(out)


def _turns_fit(turn: Sequence[Any], way: int, lanes: _Lanes) -> bool:
    """Whether turn lanes agree with the lanes, the center lane counting as a left-turn lane."""
    count = lanes.forward if way == 1 else lanes.backward
    return len(turn) == count or (lanes.center and len(turn) == count + 1)


def _turn_findings(
    row: StreetRow, turns: Mapping[int, Any], kept: Mapping[int, Any], lanes: _Lanes
) -> list[Finding]:
    out = []
    for way, turn in turns.items():
        if turn and way not in kept:
            count = lanes.forward if way == 1 else lanes.backward
            text = (
                f"turn lanes for {len(turn)} lanes, but {count} lanes that way; they were ignored"
            )
            fix = "make lanes and turn lanes agree"
            out.append(
                Finding("turn_lanes_mismatch", "warning", "streets", row.segment_id, text, fix)
            )
    return out
