"""Where repeated figures stand along a stretch of street."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Spacing:
    """How figures repeat along a stretch.

    Attributes:
        first_ft: from the beginning of the stretch to the first figure.
        most_ft: largest distance between two figures; they are spread evenly.
        last_gap_ft: the last figure ends at least this far before the end, if there are several.
        unit_ft: length of one figure, or of a group that repeats as one.
        lone: a stretch too short for `first_ft` still gets one figure, in its middle.
        least_ft: smallest distance between two; where both cannot be had, this one counts.
    """

    first_ft: float
    most_ft: float
    last_gap_ft: float
    unit_ft: float
    lone: bool = True
    least_ft: float = 0.0


def spread(length_ft: float, rule: Spacing) -> list[float]:
    """Distances of the figures' upstream edges from the beginning of a stretch."""
    if rule.first_ft + rule.unit_ft > length_ft:
        middle = (length_ft - rule.unit_ft) / 2
        return [middle] if rule.lone and length_ft > rule.unit_ft else []
    last = length_ft - rule.last_gap_ft - rule.unit_ft
    count = 1
    while last > rule.first_ft and (length_ft - rule.first_ft) / count > rule.most_ft:
        count += 1
    while count > 1 and (length_ft - rule.first_ft) / count < rule.least_ft:
        count -= 1
    step = (length_ft - rule.first_ft) / count
    places = (rule.first_ft + step * i for i in range(count))
    return [s for s in places if s <= max(rule.first_ft, last)]
