"""One street as the data tell it: attributes relative to the direction of its line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from operator import attrgetter
from typing import Any

from layoutgen.records import changed
from layoutgen.street.joined import TABLED
from layoutgen.street.precedence import ATTRIBUTE, TABLE

_FLIP_SIDE = {"left": "right", "right": "left"}
_OTHER_SIDE = {
    "bike_left": "bike_right",
    "bike_right": "bike_left",
    "parking_left": "parking_right",
    "parking_right": "parking_left",
}
_FLIP_WAY = {"forward": "backward", "backward": "forward"}


@dataclass(frozen=True)
class StreetRow:
    """Attributes of one piece, relative to its own direction; None = unknown.

    `tabled` names the joined tables whose value counts on all of it.
    """

    segment_id: str
    source_ids: tuple[str, ...]
    name: str
    street_class: str | None
    oneway: str
    lanes: int | None
    lanes_forward: int | None
    lanes_backward: int | None
    width_ft: float | None
    speed_mph: float | None
    parking: str | None
    bike_lane: str | None
    center_turn_lane: bool
    divided: bool
    median_ft: float | None
    turn_lanes_forward: str
    turn_lanes_backward: str
    levels: tuple[int, int]
    paved: bool
    roundabout: bool
    #: grade level of the inside, and which ends meet whatever they share a point with
    inside: int = 0
    tied: tuple[bool, bool] = (False, False)
    #: what is said of each side alone; empty where nothing is
    bike_left: str = ""
    bike_right: str = ""
    parking_left: str = ""
    parking_right: str = ""
    lane_use_left: str = ""
    lane_use_right: str = ""
    #: which values come from joined tables, which sides from layers of their own
    tabled: frozenset[str] = frozenset()
    layered: frozenset[str] = frozenset()
    route: str = ""
    adt: int | None = None
    setting: str = ""

    def source(self, value: str) -> str:
        """Where a value of the row came from (`precedence`): a joined table, or the line itself."""
        return TABLE if value in self.tabled else ATTRIBUTE

    @property
    def says_parking(self) -> bool:
        """Whether the data say anything about parking."""
        return bool(self.parking or self.parking_left or self.parking_right)

    def flipped(self) -> StreetRow:
        """The same street walked the other way."""
        return changed(
            self,
            oneway=_FLIP_WAY.get(self.oneway, self.oneway),
            lanes_forward=self.lanes_backward,
            lanes_backward=self.lanes_forward,
            parking=_FLIP_SIDE.get(self.parking or "", self.parking),
            bike_lane=_FLIP_SIDE.get(self.bike_lane or "", self.bike_lane),
            turn_lanes_forward=self.turn_lanes_backward,
            turn_lanes_backward=self.turn_lanes_forward,
            levels=(self.levels[1], self.levels[0]),
            tied=(self.tied[1], self.tied[0]),
            bike_left=self.bike_right,
            bike_right=self.bike_left,
            parking_left=self.parking_right,
            parking_right=self.parking_left,
            lane_use_left=self.lane_use_right,
            lane_use_right=self.lane_use_left,
            layered=frozenset(_OTHER_SIDE[name] for name in self.layered),
        )

    def continues(self, other: StreetRow) -> bool:
        """Whether two consecutive pieces are one street, though lanes or widths may change."""
        names = {self.name, other.name} - {""}
        kind = ("street_class", "oneway", "paved", "roundabout")
        return len(names) <= 1 and all(getattr(self, k) == getattr(other, k) for k in kind)


#: what makes no difference between pieces that go on as one segment
_INCIDENTAL = ("segment_id", "source_ids", "route", "adt", "levels", "inside", "tied", "tabled")
#: row -> all that a layout depends on, as one tuple: equal for pieces that go on as one segment
LIKENESS = attrgetter(*(f.name for f in fields(StreetRow) if f.name not in _INCIDENTAL))

#: row -> all that its cross-section depends on
CROSS_SECTION = attrgetter(
    *(f.name for f in fields(StreetRow) if f.name not in ("name", *_INCIDENTAL[:-1]))
)


def street_rows(
    ids: Iterable[tuple[Any, Any]], names: Sequence[str], values: Iterable[tuple[Any, ...]]
) -> list[StreetRow]:
    """Rows from (segment id, source id) and the values of all other columns.

    Most streets of a city share their attributes with others; those are read once.
    """
    known: dict[tuple[Any, ...], StreetRow] = {}
    out = []
    for (segment_id, source_id), own in zip(ids, values, strict=True):
        if own not in known:
            record = dict(zip(names, own, strict=True))
            known[own] = street_row({**record, "segment_id": segment_id, "source_id": source_id})
        out.append(changed(known[own], segment_id=str(segment_id), source_ids=(str(source_id),)))
    return out


def street_row(row: dict[str, Any]) -> StreetRow:
    """From one record of cleaned streets (see `gis.clean`)."""
    level = _level(row)
    ends = [row["level_from"], row["level_to"]]
    tied = level is not None and ends == [None, None]
    levels = tuple(int((level if end is None else end) or 0) for end in ends)
    return StreetRow(
        segment_id=str(row["segment_id"]),
        source_ids=(str(row["source_id"]),),
        name=str(row["name"] or ""),
        street_class=row["street_class"],
        oneway=row["oneway"] or "both",
        lanes=row["lanes"] or None,
        lanes_forward=row["lanes_forward"],
        lanes_backward=row["lanes_backward"],
        width_ft=row["width_ft"] or None,
        speed_mph=row["speed_mph"] or None,
        parking=row["parking"],
        bike_lane=row["bike_lane"],
        center_turn_lane=bool(row["center_turn_lane"]),
        divided=bool(row["divided"] or row["median_ft"]),
        median_ft=row["median_ft"] or None,
        turn_lanes_forward=_turn_lanes(row, "forward"),
        turn_lanes_backward=_turn_lanes(row, "backward"),
        levels=(levels[0], levels[1]),
        paved=row["surface"] != "unpaved",
        roundabout=bool(row["roundabout"]),
        inside=min(levels) if level is None else level,
        tied=(tied, tied),
        bike_left=row["bike_left"] or "",
        bike_right=row["bike_right"] or "",
        parking_left=row["parking_left"] or "",
        parking_right=row["parking_right"] or "",
        lane_use_left=_use(row["lane_use_left"]),
        lane_use_right=_use(row["lane_use_right"]),
        tabled=frozenset(row.get(TABLED) or ()),
        route=str(row.get("route") or ""),
        adt=int(row["adt"]) if row.get("adt") else None,
        setting=row.get("setting") or "",
    )


def _use(told: str | None) -> str:
    return told if told and told != "none" else ""


def _turn_lanes(row: dict[str, Any], way: str) -> str:
    """Turn lanes of one direction: said so, or those of a one-way street that runs that way."""
    own = row["turn_lanes_" + way]
    return own or (row["turn_lanes"] if row["oneway"] == way else "") or ""


def _level(row: dict[str, Any]) -> int | None:
    """Grade level of the line as a whole, where it is known."""
    if row["level"] is not None:
        return int(row["level"])
    return 1 if row["bridge"] else -1 if row["tunnel"] else None
