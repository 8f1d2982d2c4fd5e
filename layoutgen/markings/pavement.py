"""The pavement of an intersection: its area, and the beginnings of its legs."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import shapely
import shapely.ops

from layoutgen.geometry.polyline import offset_lines
from layoutgen.street.design import Intersection, Leg

#: how far out the legs belong to it (ft), beyond their layouts
_BEYOND_FT = 40.0


def pavement_of(crossing: Intersection) -> Any:
    """Plane polygon of all pavement of an intersection."""
    return _pavement(_Key(crossing))


class _Key:
    """An intersection, told apart by its id and place; its geometry has no hash."""

    def __init__(self, crossing: Intersection) -> None:
        self.crossing = crossing

    def __hash__(self) -> int:
        return hash(self.crossing.intersection_id)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and self.crossing is other.crossing


@lru_cache(maxsize=8)
def _pavement(key: _Key) -> Any:
    return shapely.union_all([key.crossing.area, *(_leg_way(leg) for leg in key.crossing.legs)])


def _leg_way(leg: Leg) -> Any:
    """Roadway of a leg from the node outward."""
    segment = leg.segment
    low, high = segment.edges_ft
    reach = leg.layout.inbound_end.farthest(*leg.edges_ft) + _BEYOND_FT
    ends = (segment.length_ft - reach, segment.length_ft) if leg.at_end else (0.0, reach)
    piece = shapely.ops.substring(segment.axis, max(0.0, ends[0]), min(segment.length_ft, ends[1]))
    (middle,) = offset_lines(np.array([piece], dtype=object), (low + high) / 2)
    return shapely.buffer(middle, (high - low) / 2, cap_style="flat")
