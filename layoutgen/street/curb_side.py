"""What lies between the travel lanes and one curb: parking, bike lanes and their buffers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from layoutgen.config import Params, length
from layoutgen.street.design import StripKind
from layoutgen.street.precedence import ATTRIBUTE, BIKE, DEFAULT, PARKING
from layoutgen.street.street_row import StreetRow

SideName = Literal["none", "left", "right", "both"]
#: kind, direction and width of a strip before it is placed
Part = tuple[StripKind, int, float]

#: facilities that have a lane of their own, and those whose lane runs between curb and parked cars
_LANES = ("lane", "buffered", "separated", "two_way", "contraflow")
_BEHIND = ("separated", "two_way")
#: speed limit from which a contraflow lane needs more than a line (BIKE-32)
_FAST_MPH = 35.0


class StripParams(Params):
    """`[cross_section]`: widths of the strips beside the travel lanes."""

    parking_width_ft: float = length(
        "8 ft", low="6 ft", high="12 ft", source="PARK-09", text="parking lane"
    )
    bike_lane_width_ft: float = length(
        "5 ft", low="3 ft", high="10 ft", source="BIKE-24", text="bike lane"
    )
    parking_angle_width_ft: float = length(
        "18 ft",
        low="12 ft",
        high="24 ft",
        source="common practice",
        text="strip of angle parking",
    )
    bike_buffer_width_ft: float = length(
        "3 ft",
        low="1.5 ft",
        high="8 ft",
        source="common practice; at least 18 in by BUFFER-10",
        text="buffer between a buffered bike lane and the travel lane; also beside a contraflow "
        "lane on streets of 35 mph and more (BIKE-32)",
    )
    separated_buffer_width_ft: float = length(
        "3 ft",
        low="1.5 ft",
        high="12 ft",
        source="common practice; at least 18 in by BUFFER-10",
        text="buffer between a separated bike lane and parked or moving cars",
    )
    turn_lane_width_ft: float = length(
        "11 ft", low="8 ft", high="16 ft", source="BIKE-30", text="two-way left-turn lane"
    )
    median_width_ft: float = length(
        "6 ft",
        low="2 ft",
        high="60 ft",
        source="from memory",
        text="raised median of a divided street that names no width",
    )
    lane_min_ft: float = length(
        "8 ft",
        low="6 ft",
        high="12 ft",
        source="common practice",
        text="narrower travel lanes are not planned: parking is dropped first",
    )
    lane_max_ft: float = length(
        "13 ft",
        low="10 ft",
        high="30 ft",
        source="common practice",
        text="on streets with lane lines, width beyond this is left as a shoulder at the curb",
    )


@dataclass(frozen=True)
class CurbSide:
    """One side of a street.

    Attributes:
        parking: none, parallel or angle.
        bike: none, shared, lane, buffered, separated, two_way or contraflow.
        fast: traffic is too fast for a contraflow lane without a buffer.
        buffer: whether the facility gets the buffer it should have.
    """

    parking: str
    bike: str
    fast: bool = False
    buffer: bool = True

    @property
    def has_bike_lane(self) -> bool:
        return self.bike in _LANES

    @property
    def buffered(self) -> bool:
        """Whether there is a buffer beside the bike lane."""
        wants = self.bike in ("buffered", *_BEHIND) or (self.bike == "contraflow" and self.fast)
        return self.buffer and wants

    def width_ft(self, params: StripParams) -> float:
        """Width of all strips."""
        return sum(width for *_, width in self.parts(1, 1, params))

    def parts(self, way: int, inner: int, params: StripParams) -> list[Part]:
        """Strips from the curb inward.

        A bike lane lies between parked cars and the travel lane, a separated one between curb and
        parked cars; the buffer is on its side away from the curb.

        Args:
            way: direction of the travel lane beside, which bike lanes follow.
            inner: direction of the inner lane of a two-way track.
            params: widths.
        """
        parked = self._parking(params)
        bike = self._bike(way, inner, params)
        return bike + parked if self.bike in _BEHIND else parked + bike

    def _parking(self, params: StripParams) -> list[Part]:
        width = {"parallel": params.parking_width_ft, "angle": params.parking_angle_width_ft}
        return [("parking", 0, width[self.parking])] if self.parking in width else []

    def _bike(self, way: int, inner: int, params: StripParams) -> list[Part]:
        if not self.has_bike_lane:
            return []
        ways = {"two_way": (-inner, inner), "contraflow": (-way,)}.get(self.bike, (way,))
        lanes: list[Part] = [("bike_lane", w, params.bike_lane_width_ft) for w in ways]
        separated = self.bike in _BEHIND
        width = params.separated_buffer_width_ft if separated else params.bike_buffer_width_ft
        return lanes + ([("buffer", 0, width)] if self.buffered else [])


def curb_sides(row: StreetRow, usual: str, speed_mph: float) -> tuple[CurbSide, CurbSide]:
    """Left and right side: layers of their own, else attributes, else the parking of the class."""
    fast = speed_mph >= _FAST_MPH
    left, right = (
        CurbSide(_parking(row, name, usual), _bike(row, name), fast) for name in ("left", "right")
    )
    return left, right


def _parking(row: StreetRow, name: str, usual: str) -> str:
    offers = _offers(row, f"parking_{name}", "parking", _on(row.parking, name, "parallel"))
    return PARKING.best({**offers, DEFAULT: _on(usual, name, "parallel")})[0]


def _bike(row: StreetRow, name: str) -> str:
    offers = _offers(row, f"bike_{name}", "bike_facilities", _on(row.bike_lane, name, "lane"))
    return BIKE.best({**offers, "none": "none"})[0]


def _offers(row: StreetRow, field: str, layer: str, of_street: str | None) -> dict[str, str | None]:
    """What a layer and the street itself say of one side; a word for the side alone comes first."""
    own = str(getattr(row, field)) or None
    if field in row.layered:
        return {layer: own, ATTRIBUTE: of_street}
    return {layer: None, ATTRIBUTE: own or of_street}


def _on(sides: str | None, name: str, kind: str) -> str | None:
    """What a word for the sides of a street says of one side; None = it says nothing."""
    if sides is None:
        return None
    return kind if sides in (name, "both") else "none"
