"""What the standard asks of the lines that announce a speed hump."""

from __future__ import annotations

from collections import Counter
from typing import Any

from layoutgen.markings.checks.places import sides_of, way_of
from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check, within
from layoutgen.street.design import Block, SpeedHump

HUMP = ("speed_hump",)
#: HUMP-03 to HUMP-09: row, length of the line -> distance before the hump
_SERIES = {
    1: ("HUMP-03", 100.0), 2: ("HUMP-04", 80.0), 3: ("HUMP-05", 62.0), 4: ("HUMP-06", 46.0),
    5: ("HUMP-07", 32.0), 6: ("HUMP-08", 20.0), 7: ("HUMP-09", 10.0), 8: ("HUMP-09", 2.0),
}  # fmt: skip
_LENGTH_FT = {"table": 22.0, "cushion": 7.0}


def _half(hump: SpeedHump) -> float:
    return (hump.length_ft or _LENGTH_FT.get(hump.kind, 12.0)) / 2


def _ahead(paint: Paint, laid: LaidOut) -> tuple[SpeedHump, float] | None:
    """The next hump of the traffic that reads a line, and the clear distance to it.

    None on a hump, or where none lies ahead within reach.
    """
    if paint.segment is None or not paint.segment.speed_humps:
        return None
    depth, way = sides_of(paint.shape, paint.bearing_deg)[0], way_of(paint, laid.design)
    found = [
        (hump, (hump.station_ft - paint.station_ft) * way - _half(hump) - depth / 2)
        for hump in paint.segment.speed_humps
    ]
    if any(abs(h.station_ft - paint.station_ft) < _half(h) for h, _ in found):
        return None
    near = [(hump, away) for hump, away in found if 0.5 < away < 150.0]
    return min(near, key=lambda pair: pair[1], default=None)


def _count(block: Block, laid: LaidOut) -> str | None:
    """Eight lines in a lane that has any."""
    if not block.speed_humps:
        return None
    lanes: Counter[tuple[str, int, int]] = Counter()
    for paint in laid.on_segment(block.segment, *HUMP):
        found = _ahead(paint, laid)
        if found is not None:
            way = way_of(paint, laid.design)
            lanes[found[0].hump_id, way, round(paint.offset_ft)] += len(paint.parts)
    wrong = [count for count in lanes.values() if count != 8]
    return f"{wrong[0]} lines before a hump" if wrong else None


def _thickness(paint: Paint, laid: LaidOut) -> str | None:
    if _ahead(paint, laid) is None:
        return None
    wide = sides_of(paint.shape, paint.bearing_deg)[0]
    return None if within(wide, 1.0, 1.0) else f"line {wide * 12:.1f} in thick"


def _place(length_ft: int, row_ft: float) -> Any:
    def test(paint: Paint, laid: LaidOut) -> str | None:
        found = _ahead(paint, laid)
        if found is None or round(paint.extent_ft[1]) != length_ft:
            return None
        away = found[1]
        return None if abs(away - row_ft) <= 0.25 else f"{away:.1f} ft before the hump"

    return test


CHECKS = (
    color_check("HUMP-11", HUMP, ("white",)),
    Check("HUMP-01", "eight lines before a hump", _count, on="block"),
    Check("HUMP-02", "lines of 12 in", _thickness, HUMP),
    *(
        Check(
            row,
            f"{'from memory: ' if row == 'HUMP-09' else ''}the line of {long} ft {far:g} ft ahead",
            _place(long, far),
            HUMP,
        )
        for long, (row, far) in _SERIES.items()
    ),
)
