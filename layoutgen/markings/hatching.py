"""Diagonals and chevrons between two lines: straight patches that follow the street."""

from __future__ import annotations

import math
from dataclasses import dataclass

from layoutgen.markings.marking import Patch

Span = tuple[float, float]


@dataclass(frozen=True)
class Hatch:
    """How an area is filled.

    Attributes:
        width_ft: width of a stroke, at right angles to it.
        angle_deg: between stroke and street.
        spacing_ft: between two strokes along the street.
        chevron: strokes in pairs that meet in the middle, else diagonals.
    """

    width_ft: float
    angle_deg: float
    spacing_ft: float
    chevron: bool = False


def hatch(span: Span, sides: Span, way: int, rule: Hatch) -> tuple[Patch, ...]:
    """Patches that fill an area between two stations and two offsets.

    Args:
        span: (from, to) stations.
        sides: offsets (edge toward the traffic, far edge); chevrons take them in any order.
        way: travel of that traffic along growing station (+1) or against it. Diagonals lead from
            it forward and away, chevrons point toward it as it comes.
        rule: strokes.
    """
    near, far = sides
    t = math.radians(rule.angle_deg)
    deep = abs(far - near) / (2 if rule.chevron else 1)
    lean, thick = way * deep / math.tan(t), rule.width_ft / math.sin(t)
    low, high = span[0] + max(0.0, -lean), span[1] - max(0.0, lean) - thick
    if high < low or abs(far - near) < 1e-6:
        return ()
    count = int((high - low) / rule.spacing_ft + 1e-6) + 1
    first = (low + high - (count - 1) * rule.spacing_ft) / 2
    out: list[Patch] = []
    for k in range(count):
        at = first + k * rule.spacing_ft
        out += _chevron(at, lean, thick, sides) if rule.chevron else [
            Patch(at, ((at, near), (at + thick, near), (at + thick + lean, far), (at + lean, far)))
        ]  # fmt: skip
    return tuple(out)


def _chevron(at: float, lean: float, thick: float, sides: Span) -> list[Patch]:
    """Two strokes from the point in the middle, which traffic meets first, to both edges."""
    middle, tail = sum(sides) / 2, at + lean
    corners = (
        (at, middle),
        (tail, sides[0]),
        (tail + thick, sides[0]),
        (at + thick, middle),
        (tail + thick, sides[1]),
        (tail, sides[1]),
    )
    return [Patch(at, corners)]
