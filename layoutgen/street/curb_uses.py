"""What the curb is for: zones, driveways and hydrants, put on a side of the nearest street.

A zone drawn as a line is walked in short steps. A step goes to the nearest street that runs along
it, so that a bus stop at a corner stays on its own street; a zone that goes on beyond an
intersection or a joint has a part on either segment.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.config import Params, length
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.street.curb_steps import Part, lines_along
from layoutgen.street.design import CurbPoint, CurbZone, Segment
from layoutgen.street.features import Spot, placed, text_of

#: a zone that loses more than this at the end of its street is told (ft)
_LOST_FT = 10.0
#: a shorter rest of a zone is none (ft)
_LEAST_FT = 5.0
#: a point nearer to the middle of the roadway lies on no side (ft)
_BESIDE_FT = 1.0
#: of two zones at one place the first of these stays
_STRICT = ("fire_lane", "bus_stop", "accessible", "loading", "taxi", "charging", "no_parking")


class CurbUseParams(Params):
    """`[curb_uses]`: how zones, driveways and hydrants find their streets."""

    reach_ft: float = length(
        "60 ft",
        low="5 ft",
        high="200 ft",
        source="common practice",
        text="a zone, driveway or hydrant farther from every street axis is reported",
    )
    zone_ft: float = length(
        "40 ft",
        low="5 ft",
        high="300 ft",
        source="common practice",
        text="length of a zone given as a point without length",
    )


@dataclass(frozen=True)
class Streets:
    """Segments and their axes, and the lines as digitised, which `side` is told along."""

    segments: Sequence[Segment]
    axes: Polylines
    drawn: NDArray[np.object_]

    @cached_property
    def _tree(self) -> shapely.STRtree:
        return shapely.STRtree(self.drawn)

    def offset_ft(self, spot: Spot) -> float:
        """Distance of a point from the middle of its roadway, positive to the right."""
        middle = spot.shape.centroid
        foot = self.axes.locate([spot.segment], [spot.station_ft])[0]
        ahead = self.axes.directions([spot.segment], [spot.station_ft])[0]
        across = (middle.x - foot[0]) * ahead[1] - (middle.y - foot[1]) * ahead[0]
        return float(across - sum(self.segments[spot.segment].edges_ft) / 2)

    def side_told(self, told: str, segment: int, station_ft: float) -> int:
        """Side of a segment (+1 right, -1 left) of a side told along the line as digitised."""
        here = shapely.Point(self.axes.locate([segment], [station_ft])[0])
        line = self.drawn[int(self._tree.nearest(here))]
        at = line.project(here)
        ends = [line.interpolate(s) for s in (max(0.0, at - 1.0), min(line.length, at + 1.0))]
        drawn = np.array([ends[1].x - ends[0].x, ends[1].y - ends[0].y])
        own = self.axes.directions([segment], [station_ft])[0]
        along = 1 if drawn @ own >= 0 else -1
        return along if told == "right" else -along


def with_curb_uses(
    streets: Streets, tables: Mapping[str, gpd.GeoDataFrame], params: CurbUseParams
) -> tuple[tuple[Segment, ...], list[Finding]]:
    """Segments with their zones, driveways and hydrants; findings about rows without a street."""
    out = list(streets.segments)
    findings: list[Finding] = []
    for role, records_of in (("curb_zones", _zones), ("curb_points", _points)):
        if role not in tables:
            continue
        known, found = _known(tables[role], role)
        by_segment, more = records_of(known, streets, params)
        findings += found + more
        for i, records in by_segment.items():
            fields: dict[str, Any] = {role: tuple(records)}
            out[i] = replace(out[i], **fields)
    return tuple(out), findings


def _known(table: gpd.GeoDataFrame, role: str) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Rows that say what they are, and a finding about the others."""
    column = "use" if role == "curb_zones" else "kind"
    mute = table[column].isna()
    if not mute.any():
        return table, []
    count = int(mute.sum())
    text = f"{count} rows do not say what they are; they were left out"
    fix = f"map {column} in [inputs.{role}.fields] and its codes in values"
    found = Finding("curb_use_unknown", "error", role, "", text, fix, None, count)
    return table[~mute].reset_index(drop=True), [found]


def _points(
    table: gpd.GeoDataFrame, streets: Streets, params: CurbUseParams
) -> tuple[dict[int, list[CurbPoint]], list[Finding]]:
    """Driveways and hydrants by segment, in the order of their stations."""
    role = "curb_points"
    spots, findings = placed(table, role, streets.axes, params.reach_ft, "curb_uses.reach")
    out: dict[int, list[CurbPoint]] = defaultdict(list)
    for spot in sorted(spots, key=lambda s: (s.station_ft, s.own_id)):
        side = _side(spot, streets)
        if not side:
            findings.append(_no_side(spot, role))
            continue
        width = _number(spot.row.get("width_ft"))
        point = CurbPoint(spot.own_id, text_of(spot, "kind"), side, spot.station_ft, width)
        out[spot.segment].append(point)
    return out, findings


def _zones(
    table: gpd.GeoDataFrame, streets: Streets, params: CurbUseParams
) -> tuple[dict[int, list[CurbZone]], list[Finding]]:
    """Zones by segment, by station, none over another."""
    role = "curb_zones"
    is_line = (shapely.get_dimensions(table.geometry.to_numpy()) == 1) & ~table.is_empty.to_numpy()
    spots, findings = placed(
        table[~is_line], role, streets.axes, params.reach_ft, "curb_uses.reach"
    )
    asked: dict[int, list[CurbZone]] = defaultdict(list)
    for spot in spots:
        side = _side(spot, streets)
        if not side:
            findings.append(_no_side(spot, role))
            continue
        zone, cut = _zone_at(spot, side, streets, params)
        asked[spot.segment].append(zone)
        findings += cut
    lines = table[is_line].reset_index(drop=True)
    parts, found = lines_along(lines, streets.axes, params.reach_ft)
    findings += found
    for part in parts:
        side = _side_of(part, streets)
        if not side:
            findings.append(_no_side(part, role))
            continue
        zone = CurbZone(part.own_id, part.row["use"], side, part.from_ft, part.to_ft, _text(part))
        asked[part.segment].append(zone)
    settled = {i: _apart(zones) for i, zones in asked.items()}
    return {i: zones for i, (zones, _) in settled.items()}, findings + _lost(settled)


def _side(spot: Spot, streets: Streets) -> int:
    """+1 right, -1 left of the axis: as told, else as drawn; 0 where neither says."""
    told = text_of(spot, "side")
    if told:
        return streets.side_told(told, spot.segment, spot.station_ft)
    offset = streets.offset_ft(spot)
    return 0 if abs(offset) < _BESIDE_FT else 1 if offset > 0 else -1


def _side_of(part: Part, streets: Streets) -> int:
    """Side of a zone drawn as a line, as `_side`."""
    told = part.row.get("side")
    if isinstance(told, str) and told:
        return streets.side_told(told, part.segment, (part.from_ft + part.to_ft) / 2)
    offset = part.offset_ft - sum(streets.segments[part.segment].edges_ft) / 2
    return 0 if abs(offset) < _BESIDE_FT else 1 if offset > 0 else -1


def _zone_at(
    spot: Spot, side: int, streets: Streets, params: CurbUseParams
) -> tuple[CurbZone, list[Finding]]:
    """The zone around a point, cut at the ends of its street."""
    wanted = _number(spot.row.get("length_ft")) or params.zone_ft
    low = max(0.0, spot.station_ft - wanted / 2)
    high = min(float(streets.axes.lengths[spot.segment]), spot.station_ft + wanted / 2)
    zone = CurbZone(spot.own_id, text_of(spot, "use"), side, low, high, text_of(spot, "text"))
    if wanted - (high - low) <= _LOST_FT:
        return zone, []
    text = f"{high - low:.0f} of {wanted:.0f} ft lie on its street; the rest was left out"
    fix = "move the point, or draw the zone as a line"
    return zone, [Finding("zone_cut", "warning", "curb_zones", spot.own_id, text, fix, spot.shape)]


def _apart(asked: Sequence[CurbZone]) -> tuple[list[CurbZone], list[tuple[CurbZone, str]]]:
    """Zones of a segment, by station, without what a stricter one takes; (zone that lost, why)."""
    kept: list[CurbZone] = []
    lost: list[tuple[CurbZone, str]] = []
    for zone in sorted(asked, key=lambda z: (_STRICT.index(z.use), z.zone_id, z.from_ft)):
        rest = [(zone.from_ft, zone.to_ft)]
        by = ""
        for other in kept:
            if other.side == zone.side and other.from_ft < zone.to_ft - 1e-6:
                left = [piece for span in rest for piece in _minus(span, other)]
                by = other.zone_id if left != rest else by
                rest = left
        low, high = max(rest, key=lambda s: s[1] - s[0], default=(0.0, 0.0))
        if high - low >= _LEAST_FT:
            kept.append(replace(zone, from_ft=low, to_ft=high))
        if by:
            lost.append((zone, by))
        elif high - low < _LEAST_FT:
            lost.append((zone, ""))
    return sorted(kept, key=lambda z: (z.from_ft, z.zone_id)), lost


def _minus(span: tuple[float, float], other: CurbZone) -> list[tuple[float, float]]:
    pieces = ((span[0], min(span[1], other.from_ft)), (max(span[0], other.to_ft), span[1]))
    return [(a, b) for a, b in pieces if b - a > 1e-6]


def _lost(
    settled: Mapping[int, tuple[list[CurbZone], list[tuple[CurbZone, str]]]],
) -> list[Finding]:
    """Findings about zones that gave way to others; those with nothing left are rows not used."""
    used = {z.zone_id for zones, _ in settled.values() for z in zones}
    told: set[str] = set()
    out = []
    for _, (_, lost) in sorted(settled.items()):
        for zone, by in lost:
            gone = int(zone.zone_id not in used and zone.zone_id not in told)
            told.add(zone.zone_id)
            text = f"the zone shares its curb with {by}, which stays" if by else "no room is left"
            fix, own = "correct one of them, or their sides", zone.zone_id
            out.append(Finding("zone_overlap", "warning", "curb_zones", own, text, fix, None, gone))
    return out


def _no_side(spot: Spot | Part, role: str) -> Finding:
    text = "it lies on the middle of the street and does not say its side; it was left out"
    fix = "give side, or move it to its curb"
    shape = spot.shape if isinstance(spot, Spot) else None
    return Finding("curb_side_unknown", "error", role, spot.own_id, text, fix, shape, 1)


def _number(value: Any) -> float | None:
    return None if value is None or value != value else float(value)


def _text(part: Part) -> str:
    value = part.row.get("text")
    return value if isinstance(value, str) else ""
