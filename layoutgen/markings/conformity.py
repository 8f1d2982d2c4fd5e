"""What an audit sees of a marking on the pavement, and what a rule of the standard asks of it.

Everything is measured on the painted shape and the street model, nothing is taken from what a rule
meant to do, so that layouts of any origin are held to the same rows. The strength of a row decides
how a breach is told: "standard" is an error, "guidance" a warning (`markings/standards.csv`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
import shapely

from layoutgen.street.design import Design, Leg, Segment

INCH = 1.0 / 12.0
#: how far a measured size may be off before a breach is told: a fingernail
TOLERANCE_FT = 0.005


@dataclass(frozen=True)
class Part:
    """One piece of paint of a marking, measured.

    Attributes:
        shape: its polygon.
        along_ft, across_ft: extent along and across the travel that reads the marking.
        long_ft, short_ft: sides of the smallest rectangle around it.
        turn_deg: angle of its long side to the travel, -90 to 90, positive to the right.
    """

    shape: Any
    along_ft: float
    across_ft: float
    long_ft: float
    short_ft: float
    turn_deg: float


@dataclass(frozen=True)
class Paint:
    """One marking of a layout as it lies on the pavement, and the street it lies on.

    `segment` is the nearest street with its `station_ft` and `offset_ft` there (middle of the
    marking), `leg` the leg of an intersection it stands on or belongs to; None where there is none.
    """

    marking_id: str
    kind: str
    style: str
    color: str
    shape: Any
    bearing_deg: float
    segment: Segment | None = None
    station_ft: float = 0.0
    offset_ft: float = 0.0
    leg: Leg | None = None

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """Its pieces, in the order they are stored."""
        return tuple(measured(piece, self.bearing_deg) for piece in shapely.get_parts(self.shape))

    @cached_property
    def extent_ft(self) -> tuple[float, float]:
        """Extent of the whole along and across the travel that reads it."""
        whole = _turned(self.shape, self.bearing_deg)
        return float(np.ptp(whole[:, 1])), float(np.ptp(whole[:, 0]))


@dataclass(frozen=True)
class LaidOut:
    """All markings of a layout with the street model, and what is asked about neighbors."""

    paints: tuple[Paint, ...]
    design: Design

    @cached_property
    def _tree(self) -> shapely.STRtree:
        return shapely.STRtree([p.shape for p in self.paints])

    def near(self, shape: Any, within_ft: float, kinds: Iterable[str] = ()) -> list[Paint]:
        """Markings whose paint comes within a distance of a shape; `kinds` empty = all."""
        found = self._tree.query(shape, predicate="dwithin", distance=within_ft)
        wanted = set(kinds)
        return [
            self.paints[i]
            for i in sorted(found.tolist())
            if not wanted or self.paints[i].kind in wanted
        ]

    def on_leg(self, leg: Leg, *kinds: str) -> list[Paint]:
        """Markings of these kinds on a leg."""
        own = self._by_leg.get(leg.leg_id, [])
        return [p for p in own if not kinds or p.kind in kinds]

    def on_segment(self, segment: Segment, *kinds: str) -> list[Paint]:
        """Markings of these kinds on a segment."""
        own = self._by_segment.get(segment.index, [])
        return [p for p in own if not kinds or p.kind in kinds]

    @cached_property
    def _by_leg(self) -> dict[str, list[Paint]]:
        out: dict[str, list[Paint]] = {}
        for paint in self.paints:
            if paint.leg is not None:
                out.setdefault(paint.leg.leg_id, []).append(paint)
        return out

    @cached_property
    def _by_segment(self) -> dict[int, list[Paint]]:
        out: dict[int, list[Paint]] = {}
        for paint in self.paints:
            if paint.segment is not None:
                out.setdefault(paint.segment.index, []).append(paint)
        return out


#: subject (a Paint, or a Leg, Block or Intersection) and layout -> what is wrong, or None
Test = Callable[[Any, LaidOut], str | None]


@dataclass(frozen=True)
class Check:
    """One row of the standard as a question to a layout.

    Attributes:
        row: id of the row in `markings/standards.csv`; its strength gives the severity.
        text: what is asked, in one line.
        test: subject and layout -> what is wrong there ("10 in wide"), or None.
        kinds: the markings it is asked of.
        styles: only of these styles; empty = all.
        on: asked of every such site instead, where a marking may be missing.
    """

    row: str
    text: str
    test: Test
    kinds: tuple[str, ...] = ()
    styles: tuple[str, ...] = ()
    on: Literal["", "approach", "leg", "block", "intersection"] = ""

    def asks(self, paint: Paint) -> bool:
        """Whether the check concerns a marking."""
        return paint.kind in self.kinds and (not self.styles or paint.style in self.styles)


def measured(piece: Any, bearing_deg: float) -> Part:
    """A piece of paint with its extents."""
    xy = _turned(piece, bearing_deg)
    rectangle = shapely.get_coordinates(shapely.oriented_envelope(piece))
    sides = np.diff(rectangle[:3], axis=0)
    lengths = np.hypot(*sides.T)
    longest = sides[int(np.argmax(lengths))]
    turn = math.degrees(math.atan2(longest[0], longest[1])) - bearing_deg
    return Part(
        piece,
        float(np.ptp(xy[:, 1])),
        float(np.ptp(xy[:, 0])),
        float(lengths.max()),
        float(lengths.min()),
        (turn + 90.0) % 180.0 - 90.0,
    )


def _turned(shape: Any, bearing_deg: float) -> Any:
    """Coordinates with the travel as +y and its right as +x."""
    t = math.radians(bearing_deg)
    xy = shapely.get_coordinates(shape)
    return np.column_stack(
        [
            xy @ np.array([math.cos(t), -math.sin(t)]),
            xy @ np.array([math.sin(t), math.cos(t)]),
        ]
    )


def within(value_ft: float, low_ft: float, high_ft: float) -> bool:
    """Whether a measured length lies in a range, give or take a fingernail."""
    return low_ft - TOLERANCE_FT <= value_ft <= high_ft + TOLERANCE_FT


def color_check(row: str, kinds: Sequence[str], colors: Sequence[str]) -> Check:
    """Paint of these kinds has one of these colors."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        return None if paint.color in colors else f"is {paint.color}"

    return Check(row, f"{' or '.join(colors)} paint", test, tuple(kinds))


def width_check(
    row: str, kinds: Sequence[str], low_ft: float, high_ft: float, styles: Sequence[str] = ()
) -> Check:
    """Every piece is so wide, measured across its longer side."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        wrong = [p.short_ft for p in paint.parts if not within(p.short_ft, low_ft, high_ft)]
        return f"{wrong[0] * 12:.1f} in wide" if wrong else None

    text = f"{low_ft * 12:g} to {high_ft * 12:g} in wide"
    return Check(row, text, test, tuple(kinds), tuple(styles))


def size_check(
    row: str, kinds: Sequence[str], low_ft: float, high_ft: float, styles: Sequence[str] = ()
) -> Check:
    """The whole marking has such a length along the travel that reads it."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        along = paint.extent_ft[0]
        return None if within(along, low_ft, high_ft) else f"{along:.2f} ft long"

    text = f"{low_ft:g} ft long" if low_ft == high_ft else f"{low_ft:g} to {high_ft:g} ft long"
    return Check(row, text, test, tuple(kinds), tuple(styles))
