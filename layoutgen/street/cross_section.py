"""Cross-sections: strips from the left curb to the right curb, seen along the axis.

One place knows left from right and fills in what the data do not say. The axis runs in the middle
of the roadway. `precedence` says which source counts; that of width and lanes is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from layoutgen.config import Params, choice, length, measure, number
from layoutgen.errors import Finding
from layoutgen.street.curb_side import CurbSide, Part, SideName, StripParams, curb_sides
from layoutgen.street.curbs import Measured
from layoutgen.street.design import Side, Strip
from layoutgen.street.precedence import DEFAULT, LANES, SPEED, WIDTH
from layoutgen.street.street_row import StreetRow

CenterLine = Literal["none", "broken", "double_solid"]

MOVEMENTS = ("left", "through", "right", "reverse", "merge", "none")
#: other words for movements
_SAME = {
    **dict.fromkeys(("u_turn", "uturn"), "reverse"),
    **dict.fromkeys(("straight", "ahead", "thru"), "through"),
}


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
    roadway_divided_ft: float = length(
        "0 ft",
        low="0 ft",
        high="250 ft",
        source="from memory",
        text="curb to curb, median and all, on divided streets drawn as one line; 0 = sum of the "
        "strips",
    )
    parking: SideName = choice("none", source="from memory", text="parallel parking lane")
    center_line: CenterLine = choice(
        "none", source="CENTER-02..06", text="center line of two-way streets of this class"
    )
    speed_mph: float = measure(
        "speed", "25 mph", low="5 mph", high="85 mph", source="from memory", text="speed limit"
    )


@dataclass(frozen=True)
class Section:
    """Cross-section of one street and where it came from.

    `short_ft` is what its lanes of the least width take beyond the width that the data tell.
    """

    strips: tuple[Strip, ...]
    width_ft: float
    width_source: str
    lanes_source: str
    turn_lanes: Mapping[int, tuple[tuple[str, ...], ...]]
    bike: tuple[str, str] = ("none", "none")
    short_ft: float = 0.0


@dataclass(frozen=True)
class _Lanes:
    """Travel lanes each way, the center lane, and where the counts came from."""

    forward: int
    backward: int
    center: bool
    source: str = ""


@dataclass(frozen=True)
class _Wish:
    """What a street should hold between its curbs."""

    row: StreetRow
    lanes: _Lanes
    left: CurbSide
    right: CurbSide
    median_ft: float
    params: StripParams

    @property
    def beside_ft(self) -> float:
        """Width of all strips that are not travel lanes."""
        center = self.params.turn_lane_width_ft if self.lanes.center else 0.0
        sides = (side.width_ft(self.params) for side in (self.left, self.right))
        return center + self.median_ft + sum(sides)

    def without(self, **parts: Any) -> _Wish:
        """The same wish with something left out on both sides."""
        return replace(self, left=replace(self.left, **parts), right=replace(self.right, **parts))


def build_section(
    row: StreetRow,
    defaults: ClassDefaults,
    params: StripParams,
    side: Side,
    edges: Measured | None = None,
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
    speed, _ = SPEED.best({row.source("speed"): row.speed_mph, DEFAULT: defaults.speed_mph})
    left, right = curb_sides(row, defaults.parking, speed)
    median = _median(row, lanes, params, edges)
    wish = _Wish(row, lanes, left, right, median, params)
    width, source = WIDTH.best(
        {
            "curbs": edges.width_ft if edges else None,
            row.source("width"): row.width_ft or None,
            DEFAULT: _default_width(wish, defaults),
        }
    )
    wish, lane_ft, shoulder = _fit(wish, width, findings)
    strips = _placed(_strips(wish, side, lane_ft, shoulder), edges)
    total = strips[-1].right_ft - strips[0].left_ft
    lanes = wish.lanes
    kept = {way: turn for way, turn in turns.items() if turn and _turns_fit(turn, way, lanes)}
    findings += _turn_findings(row, turns, kept, lanes)
    bike = (left.bike, right.bike)
    short = max(0.0, total - width)
    return Section(strips, total, source, lanes.source, kept, bike, short), findings


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
    """Movements of one lane; a word that is none of them says nothing of where the lane leads."""
    parts = [_word(part) for part in lane.split(";")]
    known = {_SAME.get(part, part) for part in parts if part not in ("", "none")}
    known = {"merge" if part.startswith("merge") else part for part in known}
    out = tuple(m for m in MOVEMENTS if m in known)
    return out or (("none",) if known else ("through",))


def unknown_movements(text: str) -> list[str]:
    """Words of turn lanes that name no movement, in their order."""
    parts = [_word(part) for lane in text.split("|") for part in lane.split(";")]
    known = {*MOVEMENTS, *_SAME, ""}
    return [part for part in parts if part not in known and not part.startswith("merge")]


def _word(part: str) -> str:
    plain = part.strip().lower().replace("-", "_").replace(" ", "_")
    return plain.removeprefix("slight_").removeprefix("sharp_")


def _lane_counts(
    row: StreetRow, defaults: ClassDefaults, turns: Mapping[int, Any], findings: list[Finding]
) -> _Lanes:
    if row.oneway == "both":
        given = _given_lanes(row, defaults, turns, findings)
    else:
        given = _given_oneway(row, turns)
    lanes, source = LANES.best({row.source("lanes"): given, DEFAULT: _default_lanes(row, defaults)})
    return replace(lanes, source=source)


def _given_lanes(
    row: StreetRow, defaults: ClassDefaults, turns: Mapping[int, Any], findings: list[Finding]
) -> _Lanes | None:
    """Lanes of a two-way street, as far as its row tells any."""
    center = row.center_turn_lane
    if row.lanes_forward and row.lanes_backward:
        return _Lanes(row.lanes_forward, row.lanes_backward, center)
    one = row.lanes_forward or row.lanes_backward
    if row.lanes and one and row.lanes > one + int(center):
        other = row.lanes - one - int(center)
        pair = (one, other) if row.lanes_forward else (other, one)
        return _Lanes(*pair, center)
    if row.lanes and row.lanes > 1:
        return _even_lanes(row, center, findings)
    forward = len(turns[1]) or row.lanes_forward or 0
    backward = len(turns[-1]) or row.lanes_backward or 0
    if forward or backward:
        half = max(1, defaults.lanes // 2)
        return _Lanes(forward or half, backward or half, center)
    return None if row.lanes is None else _default_lanes(row, defaults)


def _given_oneway(row: StreetRow, turns: Mapping[int, Any]) -> _Lanes | None:
    """Lanes of a one-way street, as far as its row tells any."""
    way = 1 if row.oneway == "forward" else -1
    own = row.lanes_forward if way == 1 else row.lanes_backward
    count = own or row.lanes or len(turns[way])
    return _oneway(row, count) if count else None


def _default_lanes(row: StreetRow, defaults: ClassDefaults) -> _Lanes:
    """Lanes of the class."""
    if row.oneway != "both":
        return _oneway(row, defaults.lanes_oneway)
    half = _default_half(row, defaults)
    return _Lanes(half, half, row.center_turn_lane)


def _oneway(row: StreetRow, count: int) -> _Lanes:
    forward = row.oneway == "forward"
    return _Lanes(count if forward else 0, 0 if forward else count, False)


def _even_lanes(row: StreetRow, center: bool, findings: list[Finding]) -> _Lanes:
    """Total lane count shared evenly; an odd lane without a center turn lane is not assigned."""
    total = int(row.lanes or 0) - int(center)
    if total % 2:
        text = f"{row.lanes} lanes on a two-way street: the odd lane is given to neither direction"
        fix = "give lanes_forward and lanes_backward, or center_turn_lane"
        findings.append(Finding("odd_lane", "notice", "streets", row.segment_id, text, fix))
    half = max(1, total // 2)
    return _Lanes(half, half, center)


def _default_half(row: StreetRow, defaults: ClassDefaults) -> int:
    """Default lanes each way, fewer where a known width cannot hold them."""
    half = max(1, defaults.lanes // 2)
    while half > 1 and row.width_ft and row.width_ft / (2 * half) < defaults.lane_width_ft - 2.0:
        half -= 1
    return half


def _median(row: StreetRow, lanes: _Lanes, params: StripParams, edges: Measured | None) -> float:
    """Width of the raised median; one-way streets and center turn lanes leave none."""
    if not (lanes.forward and lanes.backward) or lanes.center:
        return 0.0
    if edges is not None and edges.median_ft:
        return edges.median_ft
    return row.median_ft or (params.median_width_ft if row.divided else 0.0)


def _default_width(wish: _Wish, defaults: ClassDefaults) -> float:
    """Width of the class, or what the lanes and the strips beside them take."""
    row, lanes = wish.row, wish.lanes
    count = lanes.forward + lanes.backward
    two_way = row.oneway == "both"
    usual = defaults.roadway_width_ft if two_way else defaults.roadway_oneway_ft
    if wish.median_ft:
        usual = defaults.roadway_divided_ft
    if usual and lanes.source == DEFAULT:
        return max(usual, wish.beside_ft + count * wish.params.lane_min_ft)
    strips = count * defaults.lane_width_ft + wish.beside_ft
    if usual and not row.says_parking:
        # lanes alone do not tell the width: cars may park beside them as on others of the class
        more = count - (2 * max(1, defaults.lanes // 2) if two_way else defaults.lanes_oneway)
        strips = max(strips, usual + more * defaults.lane_width_ft)
    return strips


def _fit(wish: _Wish, width: float, findings: list[Finding]) -> tuple[_Wish, float, float]:
    """(what fits, lane width, shoulder at each curb).

    Parking gives way first, then lanes that only the class default asked for (where there are bike
    lanes), then buffers beside bike lanes; bike lanes themselves stay.
    """
    params, name = wish.params, wish.row.segment_id
    lane = _lane_ft(wish, width)
    for code, text, fix, give_way in _GIVE_WAY:
        fewer = give_way(wish) if lane < params.lane_min_ft else wish
        if fewer != wish:
            said = f"{width:.1f} ft are too narrow for {text}"
            findings.append(Finding(code, "notice", "streets", name, said, fix))
            wish, lane = fewer, _lane_ft(fewer, width)
    if lane < params.lane_min_ft:
        text = f"{width:.1f} ft leave {lane:.1f} ft per lane; lanes of the least width were assumed"
        fix = "correct width or lanes"
        findings.append(Finding("narrow_lanes", "warning", "streets", name, text, fix))
        return wish, params.lane_min_ft, 0.0
    lanes = wish.lanes
    count = lanes.forward + lanes.backward
    if max(lanes.forward, lanes.backward) > 1 or lanes.center:
        spare = max(0.0, lane - params.lane_max_ft) * count / 2
        return wish, min(lane, params.lane_max_ft), spare
    return wish, lane, 0.0


def _lane_ft(wish: _Wish, width: float) -> float:
    return (width - wish.beside_ft) / (wish.lanes.forward + wish.lanes.backward)


def _no_parking(wish: _Wish) -> _Wish:
    return wish.without(parking="none")


def _one_lane_each(wish: _Wish) -> _Wish:
    lanes = wish.lanes
    bike = wish.left.has_bike_lane or wish.right.has_bike_lane
    if lanes.source != "class default" or not bike:
        return wish
    fewer = replace(lanes, forward=min(1, lanes.forward), backward=min(1, lanes.backward))
    return replace(wish, lanes=fewer)


def _no_buffers(wish: _Wish) -> _Wish:
    return wish.without(buffer=False) if wish.left.buffered or wish.right.buffered else wish


#: what gives way on a street that is too narrow, in this order: code, text, fix, what is left
_GIVE_WAY: tuple[tuple[str, str, str, Callable[[_Wish], _Wish]], ...] = (
    ("parking_does_not_fit", "the parking lanes; they were left out",
     "correct width, lanes or parking", _no_parking),
    ("assumed_lanes_do_not_fit", "the lanes of the class default beside bike lanes; one lane each "
     "way was taken", "give lanes, or correct the width", _one_lane_each),
    ("bike_buffer_does_not_fit", "the buffers beside bike lanes; they were left out",
     "correct width, lanes, or the facility", _no_buffers),
)  # fmt: skip


def _strips(wish: _Wish, side: Side, lane_ft: float, shoulder: float) -> list[Part]:
    """Strips from the left curb to the right curb."""
    ways = [(-1, wish.lanes.backward), (1, wish.lanes.forward)]
    left_way, right_way = ways if side == "right" else ways[::-1]
    travel: list[Part] = [("travel_lane", left_way[0], lane_ft)] * left_way[1]
    center: Part = ("center_turn_lane", 0, wish.params.turn_lane_width_ft)
    travel += [center] * int(wish.lanes.center)
    travel += [("median", 0, wish.median_ft)] * int(wish.median_ft > 0)
    travel += [("travel_lane", right_way[0], lane_ft)] * right_way[1]
    edge: list[Part] = [("shoulder", 0, shoulder)] if shoulder > 0.01 else []
    inner = 1 if side == "right" else -1
    left = edge + wish.left.parts(travel[0][1], inner, wish.params)
    right = edge + wish.right.parts(travel[-1][1], -inner, wish.params)
    return left + travel + right[::-1]


def _placed(parts: Sequence[Part], edges: Measured | None) -> tuple[Strip, ...]:
    """Strips with their offsets: between the measured curbs, else centred on the axis."""
    total = sum(width for _, _, width in parts)
    at = -total / 2 + ((edges.right_ft - edges.left_ft) / 2 if edges else 0.0)
    if edges is not None and edges.median_ft and any(kind == "median" for kind, _, _ in parts):
        parts, at = _beside_median(parts, edges), -edges.left_ft
    out = []
    for kind, way, width in parts:
        out.append(Strip(kind, way, at, at + width))
        at += width
    return tuple(out)


def _beside_median(parts: Sequence[Part], edges: Measured) -> list[Part]:
    """Travel lanes stretched so that both sides fill what lies between median and curb."""
    k = next(i for i, part in enumerate(parts) if part[0] == "median")
    left = _stretched(parts[:k], edges.left_ft - edges.inner_left_ft)
    right = _stretched(parts[k + 1 :], edges.right_ft - edges.inner_right_ft)
    return [*left, ("median", 0, edges.median_ft), *right]


def _stretched(parts: Sequence[Part], width_ft: float) -> list[Part]:
    lanes = sum(kind == "travel_lane" for kind, _, _ in parts)
    spare = width_ft - sum(width for _, _, width in parts)
    return [
        (kind, way, width + spare / lanes if kind == "travel_lane" else width)
        for kind, way, width in parts
    ]


def _turns_fit(turn: Sequence[Any], way: int, lanes: _Lanes) -> bool:
    """Whether turn lanes agree with the lanes, the center lane counting as a left-turn lane."""
    count = lanes.forward if way == 1 else lanes.backward
    return len(turn) == count or (lanes.center and len(turn) == count + 1)


def _turn_findings(
    row: StreetRow, turns: Mapping[int, Any], kept: Mapping[int, Any], lanes: _Lanes
) -> list[Finding]:
    texts = f"{row.turn_lanes_forward}|{row.turn_lanes_backward}"
    out = []
    if unknown := unknown_movements(texts):
        text = f"turn lanes name '{unknown[0]}', which is no movement; such a lane gets no arrow"
        fix = f"use {', '.join(MOVEMENTS)}"
        out.append(Finding("turn_lanes_unknown", "warning", "streets", row.segment_id, text, fix))
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
