"""Channelizing lines and the chevrons of gores, where a ramp leaves a roadway or joins it.

MUTCD 11th edition 3B.08: wide solid white lines on both sides of the neutral area (CHAN-01); 3B.25:
chevrons point toward approaching traffic (CHEV-07), strokes 12 in wide from 45 mph on, else 8 in
(CHEV-01, CHEV-02), 30 to 45 degrees to the lines (CHEV-03).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from layoutgen.config import choice, length, measure
from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check
from layoutgen.markings.marking import Frame, Marking, Patch, PatchesShape, Rule, RuleParams
from layoutgen.street.design import Block, Gore

_FAST_MPH = 45.0
#: a wedge narrower than this holds no chevron (ft)
_LEAST_FT = 3.0
Wedge = Sequence[tuple[float, float, float]]


class Params(RuleParams):
    line_width_ft: float = length(
        "8 in", low="8 in", high="12 in", source="LINE-02", text="channelizing lines, wide"
    )
    chevrons: bool = choice(True, source="CHEV-07", text="chevrons between the lines")
    chevron_width_ft: float = length(
        "8 in", low="8 in", high="24 in", source="CHEV-02", text="strokes; 12 in from 45 mph on"
    )
    angle_deg: float = measure(
        "angle", "45 deg", low="30 deg", high="45 deg", source="CHEV-03", text="to the street"
    )
    spacing_ft: float = length(
        "20 ft",
        low="5 ft",
        high="200 ft",
        source="CHEV-06",
        text="between two chevrons; engineering judgment",
    )
    shortest_ft: float = length(
        "15 ft",
        low="10 ft",
        high="300 ft",
        source="common practice",
        text="shorter gores are left unmarked",
    )


def mark(block: Block, params: Params) -> Iterator[Marking]:
    for number, gore in enumerate(block.segment.gores, 1):
        stations = [s for s, _, _ in gore.wedge]
        if max(stations) - min(stations) < params.shortest_ft:
            continue
        yield _marking(block, gore, _lines(gore, params), ("lines", number), params)
        chevrons = _chevrons(block, gore, params) if params.chevrons else ()
        if chevrons:
            yield _marking(block, gore, chevrons, ("chevrons", number), params)


def _lines(gore: Gore, params: Params) -> tuple[Patch, ...]:
    """The roadway's edge and the ramp's, from where they part to the end of the pavement."""
    width = params.line_width_ft * gore.side
    points = [gore.wedge[0], *gore.wedge[4:-1:4], gore.wedge[-1]]
    out = []
    for (s, a, c), (t, b, d) in pairwise(points):
        base = (s + t) / 2
        out.append(Patch(base, ((s, a), (t, b), (t, b + width), (s, a + width))))
        out.append(Patch(base, ((s, c - width), (t, d - width), (t, d), (s, c))))
    return tuple(out)


def _chevrons(block: Block, gore: Gore, params: Params) -> tuple[Patch, ...]:
    """V strokes, the point in the middle of the wedge and first met by traffic."""
    segment = block.segment
    way = 1 if segment.oneway == "forward" else -1
    fast = 1.0 if segment.speed_mph >= _FAST_MPH else 0.0
    t = math.radians(params.angle_deg)
    thick = max(params.chevron_width_ft, fast) / math.sin(t) * way
    out, last = [], -1e9
    inset = params.line_width_ft + 0.25
    for station, a, b in gore.wedge:
        near, far = a + gore.side * inset, b - gore.side * inset
        if (far - near) * gore.side < _LEAST_FT or abs(station - last) < params.spacing_ft:
            continue
        tail = station + way * abs(far - near) / 2 / math.tan(t)
        sides = _sides_at(gore, (tail, tail + thick), inset)
        if sides is None:
            continue
        (p, q), (r, u) = sides
        middle = (near + far) / 2
        corners = (
            (station, middle), (tail, p), (tail + thick, r), (station + thick, middle),
            (tail + thick, u), (tail, q),
        )  # fmt: skip
        out.append(Patch(station, corners))
        last = station
    return tuple(out)


def _sides_at(
    gore: Gore, stations: tuple[float, float], inset_ft: float
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Inner sides of the wedge at two stations; None where it does not reach."""
    wedge = sorted(gore.wedge)
    found = []
    for at in stations:
        pair = next(((x, y) for x, y in pairwise(wedge) if x[0] <= at <= y[0]), None)
        if pair is None:
            return None
        (s, a, c), (t, b, d) = pair
        share = (at - s) / (t - s)
        near, far = a + (b - a) * share, c + (d - c) * share
        found.append((near + gore.side * inset_ft, far - gore.side * inset_ft))
    if any((far - near) * gore.side < 0.5 for near, far in found):
        return None
    return found[0], found[1]


def _marking(
    block: Block,
    gore: Gore,
    patches: tuple[Patch, ...],
    what: tuple[str, int],
    params: Params,
) -> Marking:
    style, number = what
    middle = gore.wedge[len(gore.wedge) // 2]
    lines = style == "lines"
    verb = "leaves" if gore.leaving else "joins"
    return Marking(
        kind="channelizing_line" if lines else "gore_chevrons",
        frame=Frame(block.segment),
        shape=PatchesShape(patches),
        color="white",
        travel=1 if block.segment.oneway == "forward" else -1,
        anchor=block.segment.segment_id,
        station_ft=middle[0],
        offset_ft=(middle[1] + middle[2]) / 2,
        width_ft=params.line_width_ft,
        style=style,
        reason=f"a ramp {verb} the roadway here",
        sources=("CHAN-01", "LINE-02") if lines else ("CHEV-01", "CHEV-02", "CHEV-03", "CHEV-07"),
        tag=f"gore{number}",
        priority=72 if lines else 50,
    )


def _points_at_traffic(paint: Paint, _: LaidOut) -> str | None:
    """The point of every chevron is met first: more paint lies beyond its middle than before."""
    t = math.radians(paint.bearing_deg)
    for part in paint.parts:
        ring = part.shape.exterior.coords
        along = [x * math.sin(t) + y * math.cos(t) for x, y in ring]
        across = [x * math.cos(t) - y * math.sin(t) for x, y in ring]
        middle = (min(across) + max(across)) / 2
        point = along[min(range(len(ring)), key=lambda k: abs(across[k] - middle))]
        if point > (min(along) + max(along)) / 2:
            return "a chevron points away from the traffic that comes"
    return None


def _wide(paint: Paint, _: LaidOut) -> str | None:
    """Mean width of the lines: paint over length."""
    width = paint.shape.area / (paint.shape.length / 2)
    return f"{width * 12:.1f} in wide" if width < 7.0 / 12.0 else None


def _strokes(paint: Paint, _: LaidOut) -> str | None:
    fast = paint.segment is not None and paint.segment.speed_mph >= _FAST_MPH
    least = 1.0 if fast else 8.0 / 12.0
    for part in paint.parts:
        stroke = 2 * part.shape.area / part.shape.length
        if stroke < 0.75 * least:
            return f"strokes of about {stroke * 12:.0f} in"
    return None


CHECKS = (
    Check("CHAN-01", "wide solid white lines", _wide, ("channelizing_line",)),
    Check("CHEV-07", "chevrons point toward approaching traffic", _points_at_traffic,
          ("gore_chevrons",)),
    Check("CHEV-01", "strokes 12 in wide from 45 mph on", _strokes, ("gore_chevrons",)),
    color_check("CHAN-01", ["channelizing_line", "gore_chevrons"], ["white"]),
)  # fmt: skip
RULE = Rule(on="block", params=Params, mark=mark, checks=CHECKS)
