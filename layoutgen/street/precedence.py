"""Which source wins, value by value: the code that decides asks here, and README is made from it.

The orders stand as data, so that no document can say something else than the program does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

T = TypeVar("T")


@dataclass(frozen=True)
class Source:
    """Where a value may come from.

    Attributes:
        name: name within its order.
        text: what it is, for the README (Markdown).
        told: what the `*_source` column of the output says; empty = the name.
    """

    name: str
    text: str
    told: str = ""

    @property
    def label(self) -> str:
        return self.told or self.name


@dataclass(frozen=True)
class Order:
    """Sources of one value, the one that wins first.

    Attributes:
        value: what is decided.
        column: output column that tells the source, or empty.
        sources: from the first to the last.
    """

    value: str
    column: str
    sources: tuple[Source, ...]

    def rank(self, name: str) -> int:
        """0 for the source that wins over all others.

        Raises:
            KeyError: no such source in this order.
        """
        if name not in self._ranks:
            raise KeyError(f"{self.value} has no source {name!r}")
        return self._ranks[name]

    @cached_property
    def _ranks(self) -> Mapping[str, int]:
        return {source.name: i for i, source in enumerate(self.sources)}

    def best(self, offers: Mapping[str, T | None]) -> tuple[T, str]:
        """(value, source name) of the first source that offers a value.

        Not every source need be asked: whoever decides early offers what is known by then.

        Raises:
            LookupError: none offers one; give the default too.
        """
        for name in sorted(offers, key=self.rank):
            value = offers[name]
            if value is not None:
                return value, name
        raise LookupError(f"no source offers a value for {self.value}")


TABLE, ATTRIBUTE, DEFAULT = "table", "attribute", "class default"

WIDTH = Order(
    "width",
    "width_source",
    (
        Source("curbs", "curb lines (input `curbs`)"),
        Source(TABLE, "`width_ft` of input `width`"),
        Source(ATTRIBUTE, "`width_ft` of the street"),
        Source(
            DEFAULT,
            "`roadway_width` or `roadway_oneway` of the class where lanes are not known either, "
            "else lanes x `lane_width` + strips beside them",
        ),
    ),
)
LANES = Order(
    "lanes",
    "lanes_source",
    (
        Source(TABLE, "input `lanes`, read like the street's own"),
        Source(
            ATTRIBUTE,
            "`lanes_forward` + `lanes_backward` of the street, else `lanes`, else the number of "
            "turn lanes",
        ),
        Source(
            DEFAULT,
            "`lanes` or `lanes_oneway` of the class, fewer where a known width is too small",
        ),
    ),
)
SPEED = Order(
    "speed",
    "speed_source",
    (
        Source(TABLE, "`speed_mph` of input `speed`"),
        Source(ATTRIBUTE, "`speed_mph` of the street"),
        Source(DEFAULT, "`speed` of the class"),
    ),
)
CONTROL = Order(
    "control of an approach",
    "control_source",
    (
        Source("signal point", "signal in input `controls`", "controls"),
        Source("signal row", "`signal` in input `intersections`", "intersections"),
        Source("sign point", "STOP or YIELD in input `controls` that faces it", "controls"),
        Source("row", "other control in input `intersections`", "intersections"),
        Source(
            "class",
            'lower class than the other street, with `controls.infer = "class"`, where nothing is '
            "known of the intersection",
        ),
    ),
)
BIKE = Order(
    "bike lanes of a side",
    "bike_source",
    (
        Source("bike_facilities", "input `bike_facilities`, laid along the street"),
        Source(ATTRIBUTE, "`bike_left`, `bike_right` of the street, else `bike_lane`"),
        Source("none", "no bike lane"),
    ),
)
PARKING = Order(
    "parking of a side",
    "",
    (
        Source("parking", "input `parking`, laid along the street"),
        Source(ATTRIBUTE, "`parking_left`, `parking_right` of the street, else `parking`"),
        Source(DEFAULT, "`parking` of the class"),
    ),
)
#: joined tables by the value they give
JOINED: Mapping[str, Order] = {"width": WIDTH, "lanes": LANES, "speed": SPEED}
ORDERS: tuple[Order, ...] = (WIDTH, LANES, SPEED, CONTROL, BIKE, PARKING)


def control_name(control: str, told: str) -> str:
    """Name in `CONTROL` of a control that a `control_source` offers."""
    if told == "class":
        return "class"
    signal = control == "signal"
    if told == "controls":
        return "signal point" if signal else "sign point"
    return "signal row" if signal else "row"
