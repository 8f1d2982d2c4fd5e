"""What an audit sees of a marking on the pavement, and what a rule of the standard asks of it.

Everything is measured on the painted shape and the street model, nothing is taken from what a rule
meant to do, so that layouts of any origin are held to the same rows. The strength of a row decides
how a breach is told: "standard" is an error, "guidance" a warning (`markings/standards.csv`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
import shapely

from layoutgen.markings.measuring import Part, extents, parts_of
from layoutgen.street.design import Design, Leg, Segment

__all__ = [
    "INCH",
    "TOLERANCE_FT",
    "Check",
    "LaidOut",
    "Paint",
    "Part",
    "Test",
    "color_check",
    "measured",
    "measuring_to",
    "size_check",
    "tolerance_ft",
    "width_check",
    "within",
]

INCH = 1.0 / 12.0
#: how far a measured size may be off before a breach is told: a fingernail
TOLERANCE_FT = 0.005
#: of every kind
ANY = "*"
_tolerance = ContextVar("tolerance_ft", default=TOLERANCE_FT)


@dataclass(frozen=True)
class Paint:
    """One marking of a layout as it lies on the pavement, and the street it lies on.

    `segment` is the nearest street with its `station_ft` and `offset_ft` there (middle of the
    marking), `leg` the leg of an intersection it stands on or belongs to; None where there is none.
    `from_ft`, `to_ft`, `left_ft` and `right_ft` are its extents in stations and offsets of the
    segment.
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
    from_ft: float = 0.0
    to_ft: float = 0.0
    left_ft: float = 0.0
    right_ft: float = 0.0

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """Its pieces, in the order they are stored."""
        return parts_of([self.shape], [self.bearing_deg])[0]

    @cached_property
    def extent_ft(self) -> tuple[float, float]:
        """Extent of the whole along and across the travel that reads it."""
        along, across = extents(np.array([self.shape]), np.array([self.bearing_deg]))
        return float(along[0]), float(across[0])

    def once(self, name: str, make: Callable[[], Any]) -> Any:
        """What `make` gives, made once for this paint: several checks measure the same."""
        kept = self.__dict__.setdefault("_kept", {})
        if name not in kept:
            kept[name] = make()
        return kept[name]

    def with_parts(self, parts: tuple[Part, ...]) -> Paint:
        """The same paint, whose pieces are measured already: a layout is measured at once."""
        self.__dict__["parts"] = parts
        return self


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
        kinds: the markings it is asked of; `"*"` = of every marking.
        styles: only of these styles; empty = all.
        on: asked of every such site instead, where a marking may be missing.
        fix: what to do about a breach, where that is more than to paint what is asked.
    """

    row: str
    text: str
    test: Test
    kinds: tuple[str, ...] = ()
    styles: tuple[str, ...] = ()
    on: Literal["", "approach", "leg", "block", "intersection"] = ""
    fix: str = ""

    def asks(self, paint: Paint) -> bool:
        """Whether the check concerns a marking."""
        if paint.kind not in self.kinds and ANY not in self.kinds:
            return False
        return not self.styles or paint.style in self.styles


def measured(piece: Any, bearing_deg: float) -> Part:
    """A piece of paint with its extents."""
    return parts_of([piece], [bearing_deg])[0][0]


@contextmanager
def measuring_to(tolerance_ft: float) -> Iterator[None]:
    """Measured sizes may be off by this much while the block runs: files round coordinates."""
    token = _tolerance.set(tolerance_ft)
    try:
        yield
    finally:
        _tolerance.reset(token)


def tolerance_ft() -> float:
    """How far a measured size may be off before a breach is told, now."""
    return _tolerance.get()


def within(value_ft: float, low_ft: float, high_ft: float) -> bool:
    """Whether a measured length lies in a range, give or take the tolerance."""
    return low_ft - tolerance_ft() <= value_ft <= high_ft + tolerance_ft()


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
