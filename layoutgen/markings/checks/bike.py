"""What is asked of bike lanes, their extensions and their green (MUTCD 9E.01 to 9E.07)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from statistics import median

import shapely

from layoutgen.markings.bike_ends import is_crossed, traffic_way
from layoutgen.markings.checks.in_lane import leg_place
from layoutgen.markings.checks.lines import covered
from layoutgen.markings.conformity import Check, LaidOut, Paint
from layoutgen.street.design import Block, Leg, Segment, Strip

LANE, EXTENSION, GREEN = ("bike_lane",), ("bike_extension",), ("bike_green",)
#: paint shorter than this is a figure, and one wider than that is a bicycle
_FIGURE_FT, _BICYCLE_FT = 15.0, 2.5
#: shorter blocks hold no symbol beside their crosswalks and turn lanes
_ROOM_FT = 250.0
_MOTOR = ("travel_lane", "turn_lane", "center_turn_lane")
_APART = ("separated", "two_way")


def figures_in(strip: Strip, segment: Segment, laid: LaidOut) -> Iterator[Paint]:
    """Symbols and arrows in a bike lane."""
    for paint in laid.on_segment(segment, *LANE):
        if strip.left_ft < paint.offset_ft < strip.right_ft and is_figure(paint):
            yield paint


def is_figure(paint: Paint) -> bool:
    return paint.extent_ft[0] < _FIGURE_FT and paint.extent_ft[1] > 1.0


def is_bicycle(paint: Paint) -> bool:
    return is_figure(paint) and paint.extent_ft[1] >= _BICYCLE_FT


def lines_of(strip: Strip, segment: Segment, laid: LaidOut) -> list[Paint]:
    """Lines along the sides of a bike lane."""
    return [
        p
        for p in laid.on_segment(segment, *LANE)
        if not is_figure(p)
        and min(abs(p.offset_ft - strip.left_ft), abs(p.offset_ft - strip.right_ft)) < 1.5
    ]


def bike_lanes(segment: Segment) -> Iterator[tuple[int, Strip]]:
    for k, strip in enumerate(segment.strips):
        if strip.kind == "bike_lane" and not segment.roundabout:
            yield k, strip


def _made_of(block: Block, laid: LaidOut) -> str | None:
    """A lane has a line and a symbol."""
    if block.segment.length_ft < _ROOM_FT:
        return None
    for k, strip in bike_lanes(block.segment):
        beyond = block.segment.strips[k - 1 : k] + block.segment.strips[k + 1 : k + 2]
        open_ = any(s.kind != "shoulder" for s in beyond)
        if open_ and not lines_of(strip, block.segment, laid):
            return "a bike lane without a line"
        if not any(is_bicycle(p) for p in figures_in(strip, block.segment, laid)):
            return "a bike lane without a bicycle"
    return None


def _first_symbol(block: Block, laid: LaidOut) -> str | None:
    """The first bicycle stands near the beginning of the marked lane."""
    for _, strip in bike_lanes(block.segment):
        lines = lines_of(strip, block.segment, laid)
        found = [p for p in figures_in(strip, block.segment, laid) if is_bicycle(p)]
        behind = block.start_leg if strip.direction == 1 else block.end_leg
        if not lines or not found or behind is None:
            continue
        if strip.direction == 1:
            away = min(p.from_ft for p in found) - min(p.from_ft for p in lines)
        else:
            away = max(p.to_ft for p in lines) - max(p.to_ft for p in found)
        if away > 100.0:
            return f"the first bicycle {away:.0f} ft after the lane begins"
    return None


def _in_shoulder(paint: Paint, _: LaidOut) -> str | None:
    strips = paint.segment.strips if paint.segment is not None else ()
    at = [s.kind for s in strips if s.left_ft < paint.offset_ft < s.right_ft]
    return "stands in a shoulder" if is_figure(paint) and "shoulder" in at else None


def _far_side(leg: Leg, laid: LaidOut) -> str | None:
    """A bicycle where the lane goes on behind an intersection."""
    if leg.segment.length_ft < _ROOM_FT or leg.circular:
        return None
    for strip in leg.strips:
        if strip.kind != "bike_lane" or strip.direction != 1:
            continue
        paints = [p for p in laid.on_segment(leg.segment, *LANE) if is_bicycle(p)]
        places = [leg_place(p, leg) for p in paints]
        near = [s for s, o in places if strip.left_ft < o < strip.right_ft]
        away = min(near, default=1e9) - leg.layout.outbound_end.station_ft
        if away > 100.0:
            return "no bicycle within 100 ft behind the intersection"
    return None


def _beside_turn_lane(leg: Leg, laid: LaidOut, least_ft: float) -> str | None:
    """Markings of a through bike lane beside a lane whose traffic must turn across it."""
    for strip in leg.strips:
        if strip.kind != "bike_lane" or strip.direction != -1 or not leg.inbound:
            continue
        if not is_crossed(leg, strip.center_ft):
            continue
        gap = _to_stop(leg, strip, laid)
        if gap < least_ft - 1.0:
            return f"markings {gap:.0f} ft before the stop line beside a lane that must turn"
    return None


def _before_circle(leg: Leg, laid: LaidOut) -> str | None:
    for strip in leg.strips:
        if leg.circular and strip.kind == "bike_lane" and strip.direction == -1:
            gap = _to_stop(leg, strip, laid)
            if gap < 99.0:
                return f"markings {gap:.0f} ft before the roundabout"
    return None


def _to_stop(leg: Leg, strip: Strip, laid: LaidOut) -> float:
    """From the markings of a lane to the end of the lines of its approach."""
    own = [*laid.on_segment(leg.segment, *LANE)]
    near = [
        (leg.segment.length_ft - p.to_ft if leg.at_end else p.from_ft)
        for p in own
        if strip.left_ft - 1.0 <= leg_place(p, leg)[1] <= strip.right_ft + 1.0
    ]
    return min(near, default=1e9) - leg.layout.inbound_end.at(strip.center_ft)


def _between_lanes(leg: Leg, laid: LaidOut) -> str | None:
    """A lane between motor lanes at an approach has a bicycle and an arrow."""
    strips = leg.strips
    for k, strip in enumerate(strips[1:-1], start=1):
        sides = (strips[k - 1], strips[k + 1])
        inside = strip.kind == "bike_lane" and strip.direction == -1
        if not inside or any(s.kind not in _MOTOR or s.direction != -1 for s in sides):
            continue
        own = [p for p in laid.on_leg(leg, *LANE) if is_figure(p)]
        own = [p for p in own if strip.left_ft < leg_place(p, leg)[1] < strip.right_ft]
        cycles = sum(is_bicycle(p) for p in own)
        if not cycles or len(own) == cycles:
            return f"{cycles} bicycles and {len(own) - cycles} arrows between motor lanes"
    return None


def _against_traffic(block: Block, laid: LaidOut) -> str | None:
    """What parts a lane from traffic that comes toward it, by speed."""
    strips = block.segment.strips
    for k, strip in bike_lanes(block.segment):
        if traffic_way(strips, k) != -strip.direction or block.segment.oneway == "both":
            continue
        beside = [s.kind for s in strips[max(0, k - 1) : k + 2] if s is not strip]
        if "buffer" in beside or "median" in beside or "parking" in beside:
            continue
        if block.segment.speed_mph >= 35.0:
            return f"no buffer at {block.segment.speed_mph:.0f} mph"
        yellow = [p for p in lines_of(strip, block.segment, laid) if p.color == "yellow"]
        if block.segment.length_ft > 100.0 and not any(covered(p, laid) > 1.8 for p in yellow):
            return "no double yellow line"
    return None


def _own_lines(paint: Paint, laid: LaidOut) -> str | None:
    """Beside a crosswalk an extension keeps two lines of its own."""
    if paint.color == "green" or not laid.near(paint.shape, 10.0, ("crosswalk",)):
        return None
    shared = laid.near(paint.shape, 0.1, ("crosswalk",))
    near = [p for p in laid.near(paint.shape, 9.0, EXTENSION) if p.color != "green"]
    if shared:
        return f"lies on crosswalk {shared[0].marking_id}"
    return None if len(near) >= 2 else "one line beside a crosswalk"


def _pieces(paint: Paint) -> tuple[float, int]:
    return median(p.long_ft for p in paint.parts), len(paint.parts)


def _green_in_step(paint: Paint, laid: LaidOut) -> str | None:
    """Green between dotted lines comes in pieces as long as theirs."""
    if paint.color != "green":
        return None
    dotted = [p for p in laid.near(paint.shape, 3.0, EXTENSION) if p.color != "green"]
    if len(paint.parts) < 2:
        return "green in one piece between dotted lines" if dotted else None
    for line in dotted:
        areas = shapely.area([p.shape for p in paint.parts])
        wide = paint.extent_ft[1] if len(areas) == 1 else max(p.short_ft for p in paint.parts)
        long = median(a / max(_breadth(paint), 0.1) for a in areas)
        if abs(long - _pieces(line)[0]) > 0.5 and wide > 0.5:
            return f"green of {long:.1f} ft beside dots of {_pieces(line)[0]:.1f} ft"
    return None if len(dotted) >= 2 else "green pieces without dotted lines on both sides"


def _breadth(paint: Paint) -> float:
    """Width of green across its travel: of its middle piece."""
    parts = sorted(paint.parts, key=lambda p: p.shape.area)
    return max(parts[len(parts) // 2].long_ft, parts[len(parts) // 2].short_ft)


def _green_beside_dots(paint: Paint, laid: LaidOut) -> str | None:
    """Green pieces in a lane follow the dots of the line beside it."""
    if len(paint.parts) < 3:
        return None
    lines = [p for p in laid.near(paint.shape, 2.0, LANE) if not is_figure(p)]
    dots = [p for p in lines if len(p.parts) > 2]
    if not dots:
        return "green in pieces beside a solid line"
    wide = paint.right_ft - paint.left_ft
    long = median(p.shape.area for p in paint.parts) / max(wide, 0.1)
    off = min(abs(long - _pieces(p)[0]) for p in dots)
    return f"green pieces {off:.1f} ft longer or shorter than the dots" if off > 0.5 else None


def _buffers(block: Block) -> Iterator[tuple[Strip, Strip, str]]:
    """(buffer, its bike lane, kind of facility) of a block."""
    strips = block.segment.strips
    for k, strip in bike_lanes(block.segment):
        side = block.segment.bike[1 if strip.center_ft > 0 else 0]
        for other in strips[max(0, k - 1) : k + 2]:
            if other.kind == "buffer":
                yield other, strip, side


def _unfilled(row: str, text: str, wanted: Callable[[float, str], bool]) -> Check:
    def test(block: Block, laid: LaidOut) -> str | None:
        if block.segment.length_ft < 300.0:
            return None
        paints = laid.on_segment(block.segment, "buffer")
        for strip, _, side in _buffers(block):
            inside = any(strip.left_ft < p.offset_ft < strip.right_ft for p in paints)
            if wanted(strip.width_ft, side) and not inside:
                return f"nothing fills a buffer of {strip.width_ft:.1f} ft"
        return None

    return Check(row, text, test, on="block")


def _buffer_width(block: Block, laid: LaidOut) -> str | None:
    for strip, lane, _ in _buffers(block):
        lines = lines_of(lane, block.segment, laid)
        wide = [p.short_ft for line in lines for p in line.parts if p.long_ft > 5.0]
        if wide and strip.width_ft < 3 * min(wide) - 0.01:
            return f"a buffer of {strip.width_ft:.2f} ft beside lines of {min(wide) * 12:.0f} in"
    return None


def _arrow_follows(block: Block, laid: LaidOut) -> str | None:
    """In a separated lane every bicycle is followed by an arrow."""
    for strip, lane, side in _buffers(block):
        own = list(figures_in(lane, block.segment, laid))
        arrows = [p for p in own if not is_bicycle(p)]
        for paint in own:
            alone = not any(shapely.dwithin(paint.shape, a.shape, 25.0) for a in arrows)
            if side in _APART and strip.width_ft > 0 and is_bicycle(paint) and alone:
                return f"no arrow with {paint.marking_id}"
    return None


def _yellow_buffer(block: Block, laid: LaidOut) -> str | None:
    """Two sets of double yellow lines around a buffer between opposing traffic."""
    strips = block.segment.strips
    for strip, lane, _ in _buffers(block):
        k = strips.index(lane)
        step = 1 if strip.center_ft > lane.center_ft else -1
        beyond = strips[k + 2 * step] if 0 <= k + 2 * step < len(strips) else None
        if beyond is None or beyond.kind != "travel_lane" or beyond.direction != -lane.direction:
            continue
        for edge in (strip.left_ft, strip.right_ft):
            sets = [
                p
                for p in laid.on_segment(block.segment, *LANE)
                if p.color == "yellow" and abs(p.offset_ft - edge) < 1.5 and covered(p, laid) > 1.8
            ]
            if not sets and block.segment.length_ft > 150.0:
                return "no double yellow line on one side of the buffer"
    return None


def _wide_enough(block: Block, laid: LaidOut) -> str | None:
    """Clear width between the yellow lines around a buffer."""
    yellow = [p for p in laid.on_segment(block.segment, *LANE) if p.color == "yellow"]
    for strip, _, _ in _buffers(block):
        left = [p.right_ft for p in yellow if abs(p.offset_ft - strip.left_ft) < 1.0]
        right = [p.left_ft for p in yellow if abs(p.offset_ft - strip.right_ft) < 1.0]
        if left and right and min(right) - max(left) < 2.0 - 0.01:
            return f"{min(right) - max(left):.2f} ft between the yellow lines"
    return None


def _not_beside(leg: Leg, laid: LaidOut) -> str | None:
    return _beside_turn_lane(leg, laid, 20.0)


def _ends_early(leg: Leg, laid: LaidOut) -> str | None:
    return _beside_turn_lane(leg, laid, 100.0)


LANE_CHECKS = (
    Check("BIKE-01", "a line and a bicycle make a bike lane", _made_of, on="block"),
    Check("BIKE-02", "the first bicycle at the beginning", _first_symbol, on="block"),
    Check("BIKE-05", "no bicycle or arrow in a shoulder", _in_shoulder, LANE),
    Check("BIKE-06", "California: a bicycle behind intersections", _far_side, on="leg"),
    Check("BIKE-16", "markings end 100 ft before a turn across", _ends_early, on="approach"),
    Check("BIKE-17", "markings end 100 ft before a roundabout", _before_circle, on="approach"),
    Check("BIKE-19", "no bike lane right of a right-turn lane", _not_beside, on="approach"),
    Check("BIKE-20", "bicycle and arrow between motor lanes", _between_lanes, on="approach"),
    Check("BIKE-32", "double yellow or buffer against traffic", _against_traffic, on="block"),
    Check("CHAN-02", "two double yellow lines around an island", _yellow_buffer, on="block"),
    Check("CHAN-03", "California: 2 ft between yellow lines", _wide_enough, on="block"),
    Check("BUFFER-11", "an arrow with every bicycle", _arrow_follows, on="block"),
)
EXTENSION_CHECKS = (
    Check("BIKE-22", "own lines beside a crosswalk", _own_lines, EXTENSION),
    Check("GREEN-03", "green in step with the dotted lines", _green_in_step, EXTENSION),
)
GREEN_CHECKS = (Check("GREEN-04", "green in step with the dots", _green_beside_dots, GREEN),)
BUFFER_CHECKS = (
    Check("BUFFER-01", "three times as wide as its line", _buffer_width, on="block"),
    _unfilled("BUFFER-03", "buffers of 2 to 3 ft filled", lambda w, _: 2.0 <= w <= 3.0),
    _unfilled("BUFFER-06", "filled from 2 ft beside separated lanes",
              lambda w, side: w >= 2.0 and side in _APART),
)  # fmt: skip
