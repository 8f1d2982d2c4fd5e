"""Roundabouts that the data do not name: round loops of one-way streets, driven the right way."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from layoutgen.config import Params, choice, length, number
from layoutgen.errors import Finding
from layoutgen.street.design import Side
from layoutgen.street.network import Network

#: a segment this near to a loop lies on it (ft)
_ON_FT = 0.5


class RingParams(Params):
    """`[roundabouts]`: how loops are recognised."""

    recognise: bool = choice(
        True, source="design", text="false = only streets that the data call roundabouts are"
    )
    radius_ft: float = length(
        "150 ft",
        low="30 ft",
        high="400 ft",
        source="common practice",
        text="larger loops are streets around a square",
    )
    roundness: float = number(
        0.94,
        low=0.5,
        high=1.0,
        source="common practice",
        text="4 pi area / perimeter squared: a circle has 1, a square 0.785",
    )


def with_rings(network: Network, params: RingParams, side: Side) -> tuple[Network, list[Finding]]:
    """The network with its recognised roundabouts flagged, and a finding for each.

    Args:
        network: streets.
        params: what counts as round.
        side: driving side; traffic that keeps right turns counterclockwise.
    """
    one_way = [i for i, row in enumerate(network.rows) if row.oneway != "both"]
    known = any(row.roundabout for row in network.rows)
    if not params.recognise or len(one_way) < 2 or known:
        return network, []
    lines = network.axes.lines()
    tree = shapely.STRtree(lines[one_way])
    loops = _round(lines[one_way], params)
    rows = list(network.rows)
    findings = []
    for loop in loops:
        near = tree.query(loop.exterior.buffer(_ON_FT), predicate="covers")
        own = [one_way[k] for k in sorted(near.tolist())]
        if own and all(_turns(network, i, lines[i], loop, side) for i in own):
            for i in own:
                rows[i] = replace(rows[i], roundabout=True)
            findings.append(_told(loop, [rows[i].segment_id for i in own]))
    return replace(network, rows=tuple(rows)), findings


def _round(lines: Any, params: RingParams) -> list[Any]:
    """Faces between lines that are nearly circles of a fitting size."""
    faces = shapely.get_parts(shapely.polygonize(list(lines)))
    area, around = shapely.area(faces), shapely.length(faces)
    fits = (4.0 * math.pi * area >= params.roundness * around**2) & (
        area <= math.pi * params.radius_ft**2
    )
    return list(faces[fits])


def _turns(network: Network, i: int, line: Any, loop: Any, side: Side) -> bool:
    """Whether traffic on a segment turns round the middle of a loop the way it should."""
    xy = shapely.get_coordinates(line) - shapely.get_coordinates(loop.centroid)[0]
    if network.rows[i].oneway == "backward":
        xy = xy[::-1]
    turn = float(np.sum(xy[:-1, 0] * xy[1:, 1] - xy[:-1, 1] * xy[1:, 0]))
    return turn > 0 if side == "right" else turn < 0


def _told(loop: Any, names: list[str]) -> Finding:
    text = f"the round loop of {', '.join(sorted(names)[:4])} was taken for a roundabout"
    fix = "map `roundabout`, or set roundabouts.recognise = false"
    return Finding("roundabout_seen", "notice", "streets", min(names), text, fix, loop.exterior)
