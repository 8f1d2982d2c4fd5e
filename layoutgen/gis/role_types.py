"""What an input role is, and the words its fields may hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

FieldType = Literal["text", "real", "integer", "yes_no", "choice"]


@dataclass(frozen=True)
class Field:
    """One input field under our own name.

    Attributes:
        name: our name; the unit ends it where the field holds a measure.
        type: how the source's text or number is converted.
        text: meaning.
        choices: allowed values of a `choice`.
    """

    name: str
    type: FieldType
    text: str
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Role:
    """One input role (`[inputs.<name>]`); without geometry types it is a table joined by id.

    `on_request` = no layout is made from it; only the command that asks for it reads it.
    """

    name: str
    geometry: tuple[str, ...]
    required: bool
    text: str
    fields: tuple[Field, ...]
    on_request: bool = False

    @property
    def id_field(self) -> str:
        return self.fields[0].name


STREET_CLASSES = ("freeway", "ramp", "arterial", "collector", "local", "alley", "path")
SIDES = ("none", "left", "right", "both")
FACILITIES = ("lane", "buffered", "separated", "shared", "contraflow", "path", "none")
BIKE_SIDES = ("none", "lane", "buffered", "separated", "shared", "contraflow")
PARKING_SIDES = ("none", "parallel", "angle")
#: of a pedestrian crossing: whether it is marked, or the style of the marking
MARKED = (*("marked", "unmarked", "transverse_lines", "longitudinal_bars", "ladder", "bar_pairs"),)
#: what lies around a street
SETTINGS = ("urban", "rural")
LEGEND_COLORS = ("white", "yellow", "green", "red", "blue", "purple", "black")
CROSSING_CONTROLS = ("signal", "stop", "yield", "none")
CONTROLS = (
    *("signal", "all_way_stop", "two_way_stop", "stop", "yield", "mini_roundabout", "none"),
)
#: preferential lanes, MUTCD 11th edition chapter 3E
LANE_USES = ("none", "bus", "hov", "taxi", "bike_bus")
CURB_USES = (*("bus_stop", "loading", "accessible", "fire_lane", "no_parking", "taxi", "charging"),)
POLYGONS = ("Polygon", "MultiPolygon")
#: of a table that is joined to the streets by their id
STREET_ID = Field("segment_id", "text", "id of the street, as in input streets")
