"""Edges of a roundabout: yellow round the central island, white along the outside between legs.

MUTCD 11th edition 3D.03. The outer line is left out where legs enter and leave: nothing crosses the
exits (ROUND-02), and the entries have a line of their own. Left to a policy: off by default.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

import shapely

from layoutgen.config import choice, length
from layoutgen.markings.checks.ring_edge import CHECKS, mouths, outer_circle
from layoutgen.markings.marking import Frame, GroundShape, Marking, Rule, RuleParams
from layoutgen.street.design import Intersection


class Params(RuleParams):
    at: tuple[Literal["inner", "outer"], ...] = choice(
        (), source="ROUND-02", text="edges of the ring that get a line; a policy, 3D.03 allows both"
    )
    line_width_ft: float = length(
        "4 in", low="4 in", high="12 in", source="LINE-01", text="width of the lines"
    )
    inset_ft: float = length(
        "2 in", low="0 in", high="12 in", source="EDGE-05", text="from the edge to the line"
    )


def mark(crossing: Intersection, params: Params) -> Iterator[Marking]:
    if not params.at or not any(leg.circular for leg in crossing.legs):
        return
    circle = outer_circle(crossing)
    if circle is None:
        return
    island, outside = circle
    near, far = params.inset_ft, params.inset_ft + params.line_width_ft
    if "inner" in params.at:
        line = island.buffer(far).difference(island.buffer(near))
        yield _marking(crossing, line, "inner", params)
    if "outer" in params.at:
        line = outside.buffer(-near).difference(outside.buffer(-far))
        line = line.difference(shapely.union_all(mouths(crossing, outside, far)))
        if not line.is_empty:
            yield _marking(crossing, line, "outer", params)


def _marking(crossing: Intersection, line: Any, which: str, params: Params) -> Marking:
    leg = min(crossing.legs, key=lambda leg: leg.segment.segment_id)
    inner = which == "inner"
    return Marking(
        kind="ring_edge",
        frame=Frame.of_leg(leg),
        shape=GroundShape(line, 0.0),
        color="yellow" if inner else "white",
        travel=0,
        anchor=crossing.intersection_id,
        station_ft=0.0,
        offset_ft=0.0,
        width_ft=params.line_width_ft,
        style=which,
        reason="round the central island" if inner else "outside of the ring, between its legs",
        sources=("LINE-15",) if inner else ("LINE-16", "ROUND-02"),
        tag=which,
        intersection_id=crossing.intersection_id,
        priority=65,
    )


RULE = Rule(on="intersection", params=Params, mark=mark, checks=CHECKS, inside=True)
