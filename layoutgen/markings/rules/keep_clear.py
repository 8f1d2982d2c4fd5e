"""Box that traffic must keep clear: a wide white outline of the intersection's area.

MUTCD 11th edition 3B.26 (DNB-01): a wide solid white outline, at choice with crosshatching and with
words. It belongs only where blocking the intersection is forbidden and signs say so, which takes
engineering judgment: the rule is off, and a case with `enabled = true` and a `where` puts it at
chosen intersections.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, Literal

import numpy as np
import shapely

from layoutgen.config import choice, length, measure
from layoutgen.markings.checks.boxes import CHECKS
from layoutgen.markings.marking import (
    FigureShape,
    Frame,
    GroundShape,
    Marking,
    Rule,
    RuleParams,
)
from layoutgen.street.design import Intersection, Leg

_WORDS = {"keep_clear": ("KEEP", "CLEAR"), "do_not_block": ("DO NOT", "BLOCK")}
_LEAST_SQFT = 0.25


class Params(RuleParams):
    enabled: bool = choice(
        False, source="DNB-01", text="true = at every intersection; better by cases with `where`"
    )
    line_width_ft: float = length(
        "8 in", low="8 in", high="24 in", source="LINE-02", text="outline, a wide line"
    )
    inside: Literal["nothing", "crosshatch", "keep_clear", "do_not_block"] = choice(
        "nothing",
        source="DNB-01",
        text="crosshatching, or words for the traffic of the main street",
    )
    hatch_width_ft: float = length(
        "6 in", low="4 in", high="12 in", source="common practice", text="line of the crosshatching"
    )
    hatch_spacing_ft: float = length(
        "10 ft",
        low="3 ft",
        high="40 ft",
        source="common practice",
        text="between the middles of its lines",
    )
    hatch_angle_deg: float = measure(
        "angle",
        "45 deg",
        low="30 deg",
        high="60 deg",
        source="common practice",
        text="of its lines to the main street",
    )
    letter_ft: float = length(
        "6 ft", low="6 ft", high="10 ft", source="WORD-01", text="height of the letters"
    )
    word_gap_ft: float = length(
        "4 ft",
        low="2 ft",
        high="40 ft",
        source="common practice",
        text="between its two words (WORD-05 exempts them from the usual distance)",
    )


def mark(crossing: Intersection, params: Params) -> Iterator[Marking]:
    area = crossing.area
    if area.is_empty or area.area < 100.0 or not crossing.legs or _is_ring(crossing):
        return
    main = max(crossing.legs, key=lambda leg: (len(leg.inbound) + len(leg.outbound), leg.leg_id))
    inner = area.buffer(-params.line_width_ft, join_style="mitre")
    if inner.is_empty:
        return
    yield _painted(crossing, main, area.difference(inner), ("outline", params.line_width_ft))
    if params.inside == "crosshatch":
        hatch = _hatch(inner, main, params)
        if not hatch.is_empty:
            yield _painted(crossing, main, hatch, ("crosshatch", params.hatch_width_ft))
    if params.inside in _WORDS:
        yield from _words(crossing, main, params)


def _is_ring(crossing: Intersection) -> bool:
    return any(leg.circular or leg.segment.roundabout for leg in crossing.legs)


def _painted(crossing: Intersection, main: Leg, shape: Any, look: tuple[str, float]) -> Marking:
    style, width = look
    curb = main.layout.curb.station_ft
    return Marking(
        kind="keep_clear",
        frame=Frame.of_leg(main),
        shape=GroundShape(shape, curb),
        color="white",
        travel=-1 if main.inbound else 1,
        anchor=crossing.intersection_id,
        station_ft=curb,
        offset_ft=0.0,
        width_ft=width,
        style=style,
        reason="the area of this intersection is to be kept clear; with the signs that say so",
        sources=("DNB-01",),
        tag=style,
        intersection_id=crossing.intersection_id,
        priority=75 if style == "outline" else 55,
    )


def _hatch(inner: Any, main: Leg, params: Params) -> Any:
    """Lines of both directions through the middle of the box, clear of its outline."""
    middle = inner.centroid
    x0, y0, x1, y1 = inner.bounds
    reach = math.hypot(x1 - x0, y1 - y0)
    count = math.ceil(reach / params.hatch_spacing_ft)
    lines = []
    for sign in (-1, 1):
        t = math.radians(main.bearing_deg + sign * params.hatch_angle_deg)
        ahead = np.array([math.sin(t), math.cos(t)])
        side = np.array([ahead[1], -ahead[0]])
        for k in range(-count, count + 1):
            at = np.array([middle.x, middle.y]) + k * params.hatch_spacing_ft * side
            lines.append(shapely.LineString([at - reach * ahead, at + reach * ahead]))
    stripes = shapely.buffer(lines, params.hatch_width_ft / 2, cap_style="flat")
    pieces = shapely.get_parts(shapely.intersection(shapely.union_all(stripes), inner))
    kept = [p for p in pieces if p.geom_type == "Polygon" and p.area >= _LEAST_SQFT]
    return shapely.MultiPolygon(kept)


def _words(crossing: Intersection, main: Leg, params: Params) -> Iterator[Marking]:
    """The two words on the lanes that enter from the main street, first word nearest the driver."""
    first, second = _WORDS[params.inside]
    height, gap = params.letter_ft, params.word_gap_ft
    for leg in crossing.legs:
        same = leg is main or (main.segment.name and leg.segment.name == main.segment.name)
        for lane in leg.inbound if same else ():
            width = min(8.0, lane.width_ft - 2.0)
            curb = leg.layout.curb
            begin = min(curb.at(lane.left_ft), curb.at(lane.right_ft)) - params.line_width_ft - 1.0
            if begin - 2 * height - gap < 0.0:
                continue
            for word, upstream in ((first, begin), (second, begin - height - gap)):
                yield Marking(
                    kind="word",
                    frame=Frame.of_leg(leg),
                    shape=FigureShape("", upstream, lane.center_ft, -1, word, height, width),
                    color="white",
                    travel=-1,
                    anchor=leg.leg_id,
                    station_ft=upstream,
                    offset_ft=lane.center_ft,
                    width_ft=width,
                    style=word,
                    reason="words of a box that is to be kept clear",
                    sources=("DNB-01", "WORD-01", "WORD-05", "WORD-06"),
                    tag="keep_clear",
                    intersection_id=crossing.intersection_id,
                    priority=65,
                    group=f"keep_clear/{crossing.intersection_id}",
                )


RULE = Rule(on="intersection", params=Params, mark=mark, checks=CHECKS, inside=True)
