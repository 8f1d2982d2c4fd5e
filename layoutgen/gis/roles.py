"""Input roles and their fields: one place drives reading, checking, `init` and the docs."""

from __future__ import annotations

from layoutgen.gis.role_types import (
    BIKE_SIDES,
    CONTROLS,
    CROSSING_CONTROLS,
    CURB_USES,
    FACILITIES,
    LANE_USES,
    LEGEND_COLORS,
    MARKED,
    PARKING_SIDES,
    POLYGONS,
    SETTINGS,
    SIDES,
    STREET_CLASSES,
    STREET_ID,
    Field,
    FieldType,
    Role,
)
from layoutgen.gis.street_role import STREETS

__all__ = [
    "BIKE_SIDES",
    "CONTROLS",
    "CROSSING_CONTROLS",
    "CURB_USES",
    "FACILITIES",
    "LANE_USES",
    "LEGEND_COLORS",
    "MARKED",
    "PARKING_SIDES",
    "POLYGONS",
    "ROLES",
    "SETTINGS",
    "SIDES",
    "STREET_CLASSES",
    "STREET_ID",
    "Field",
    "FieldType",
    "Role",
    "role",
]

ROLES: tuple[Role, ...] = (
    STREETS,
    Role(
        "intersections",
        ("Point", "MultiPoint"),
        False,
        "Intersection points: stable ids, names and, if known, the control.",
        (
            Field("intersection_id", "text", "stable id"),
            Field("name", "text", "name of the intersection"),
            Field(
                "control",
                "choice",
                "control of the whole intersection; stop = every approach stops",
                CONTROLS,
            ),
        ),
    ),
    Role(
        "controls",
        ("Point", "MultiPoint"),
        False,
        "Signal posts, STOP and YIELD signs.",
        (
            Field("control_id", "text", "stable id"),
            Field(
                "control",
                "choice",
                "what stands there",
                ("signal", "stop", "all_way_stop", "yield", "mini_roundabout"),
            ),
            Field("bearing_deg", "real", "travel direction of the traffic that faces it"),
            Field(
                "faces",
                "choice",
                "of a point on a street line: traffic that faces it, along the line as digitised",
                ("forward", "backward", "both"),
            ),
        ),
    ),
    Role(
        "crossing_points",
        ("Point", "MultiPoint"),
        False,
        "Pedestrian crossings as points on the street lines, at intersections and midblock.",
        (
            Field("crossing_id", "text", "stable id"),
            Field("markings", "choice", "whether it is marked, or the style", MARKED),
            Field("control", "choice", "what stops the traffic there", CROSSING_CONTROLS),
        ),
    ),
    Role(
        "schools",
        ("Point", "MultiPoint", "Polygon", "MultiPolygon"),
        False,
        "Schools, as points or grounds.",
        (Field("school_id", "text", "stable id"), Field("name", "text", "name of the school")),
    ),
    Role(
        "bike_facilities",
        ("LineString", "MultiLineString"),
        False,
        "Bike facilities as lines of their own, beside or on the street centerlines.",
        (
            Field("facility_id", "text", "stable id"),
            Field("name", "text", "name of the street it runs along"),
            Field("facility", "choice", "what it is", FACILITIES),
            Field(
                "side",
                "choice",
                "side of the street; left and right are seen along the line, one = where the "
                "line is drawn, with_traffic = the side traffic keeps to",
                ("both", "left", "right", "one", "with_traffic"),
            ),
            Field(
                "direction",
                "choice",
                "travel on it, along the line; both on one side = a two-way track",
                ("both", "forward", "backward"),
            ),
        ),
    ),
    Role(
        "parking",
        ("LineString", "MultiLineString"),
        False,
        "Parking as lines of their own, beside or on the street centerlines.",
        (
            Field("parking_id", "text", "stable id"),
            Field("name", "text", "name of the street it runs along"),
            Field("kind", "choice", "how cars stand", ("parallel", "angle", "none")),
            Field(
                "side",
                "choice",
                "side of the street; left and right are seen along the line, one = where the "
                "line is drawn",
                ("both", "left", "right", "one"),
            ),
        ),
    ),
    Role(
        "curbs",
        ("LineString", "MultiLineString", "Polygon", "MultiPolygon"),
        False,
        "Curb lines, or pavement polygons: roadway widths and corners are measured on them.",
        (Field("curb_id", "text", "stable id"),),
    ),
    Role(
        "curb_ramps",
        ("Point", "MultiPoint"),
        False,
        "Curb ramps: a crosswalk leads from ramp to ramp.",
        (Field("ramp_id", "text", "stable id"),),
    ),
    Role(
        "islands",
        POLYGONS,
        False,
        "Raised islands: nothing is painted on them; crosswalks lead through them.",
        (Field("island_id", "text", "stable id"), Field("name", "text", "what it is")),
    ),
    Role(
        "crosswalks",
        ("LineString", "MultiLineString"),
        False,
        "Axes of existing crosswalks: painted there instead of where the rule would.",
        (Field("crosswalk_id", "text", "stable id"),),
    ),
    Role(
        "speed",
        (),
        False,
        "Speed limits, a table joined to the streets by their id.",
        (STREET_ID, Field("speed_mph", "real", "posted speed")),
    ),
    Role(
        "lanes",
        (),
        False,
        "Lanes, a table joined to the streets by their id; forward = along the street line.",
        (
            STREET_ID,
            Field("lanes", "integer", "travel lanes, both directions together"),
            Field("lanes_forward", "integer", "travel lanes along the digitised direction"),
            Field("lanes_backward", "integer", "travel lanes against the digitised direction"),
            Field("center_turn_lane", "yes_no", "two-way left-turn lane"),
            Field("turn_lanes_forward", "text", "lanes left to right, e.g. left|through|right"),
            Field("turn_lanes_backward", "text", "the same, against the digitised direction"),
        ),
    ),
    Role(
        "width",
        (),
        False,
        "Roadway widths, a table joined to the streets by their id.",
        (STREET_ID, Field("width_ft", "real", "roadway width, curb to curb")),
    ),
    Role(
        "districts",
        POLYGONS,
        False,
        "Districts: streets outside all of them are left out, the others carry their label.",
        (
            Field("district_id", "text", "stable id"),
            Field("name", "text", "name of the district; the label, where there is one"),
        ),
    ),
    Role(
        "exclusions",
        POLYGONS,
        False,
        "Areas in which nothing is marked.",
        (
            Field("exclusion_id", "text", "stable id"),
            Field("reason", "text", "why nothing is marked there"),
        ),
    ),
    Role(
        "rail_crossings",
        ("Point", "MultiPoint"),
        False,
        "Rail crossings at grade, put on the nearest street.",
        (
            Field("crossing_id", "text", "stable id"),
            Field("tracks", "integer", "number of tracks"),
            Field("control", "choice", "warning devices", ("signal", "gates", "signs")),
        ),
    ),
    Role(
        "speed_humps",
        ("Point", "MultiPoint", "LineString", "MultiLineString"),
        False,
        "Speed humps, as points or lines across the street, put on the nearest street.",
        (
            Field("hump_id", "text", "stable id"),
            Field("kind", "choice", "form", ("hump", "table", "cushion")),
            Field("length_ft", "real", "length along the street"),
        ),
    ),
    Role(
        "legends",
        ("Point", "MultiPoint"),
        False,
        "Words and figures at places of their own, put on the lanes of the nearest street.",
        (
            Field("legend_id", "text", "stable id"),
            Field("text", "text", "words; a line ends at each bar, the first is read first"),
            Field("figure", "text", "name of a figure, shipped or of [symbols]"),
            Field("bearing_deg", "real", "travel direction of the traffic that reads it"),
            Field("lanes", "text", "all, left, right, or a number from the left; empty = nearest"),
            Field("height_ft", "real", "height of its letters, length of its figure"),
            Field("color", "choice", "paint", LEGEND_COLORS),
        ),
    ),
    Role(
        "curb_zones",
        ("Point", "MultiPoint", "LineString", "MultiLineString"),
        False,
        "Stretches of curb with a use of their own, put on the nearest side of the nearest street.",
        (
            Field("zone_id", "text", "stable id"),
            Field("use", "choice", "what the curb is for", CURB_USES),
            Field("length_ft", "real", "length along the curb, of a zone given as a point"),
            Field(
                "side", "choice", "side, along the street line, of a zone drawn on it", SIDES[1:3]
            ),
            Field("text", "text", "words in place of those of its use; | parts lines"),
        ),
    ),
    Role(
        "curb_points",
        ("Point", "MultiPoint"),
        False,
        "Driveways and hydrants, put on the nearest side of the nearest street.",
        (
            Field("point_id", "text", "stable id"),
            Field("kind", "choice", "what it is", ("driveway", "hydrant")),
            Field("width_ft", "real", "width along the curb"),
            Field(
                "side", "choice", "side, along the street line, of a point drawn on it", SIDES[1:3]
            ),
        ),
    ),
    Role(
        "yard",
        ("Point", "MultiPoint"),
        False,
        "Where trucks start, refill and end.",
        (Field("yard_id", "text", "stable id"), Field("name", "text", "name of the yard")),
    ),
    Role(
        "layout",
        (*POLYGONS, "LineString", "MultiLineString"),
        False,
        "A layout to be audited by `check`, of any origin: painted areas, or lines with a width.",
        (
            Field("marking_id", "text", "stable id"),
            Field("kind", "text", "what it is, in the words of layer markings"),
            Field("style", "text", "style of the kind, in the words of layer markings"),
            Field("color", "text", "color of the paint"),
            Field(
                "bearing_deg",
                "real",
                "travel direction of the traffic that reads it; empty = that of the lane it is in",
            ),
            Field("width_ft", "real", "painted width, for rows that are lines"),
        ),
        on_request=True,
    ),
)


def role(name: str) -> Role:
    """The role of that name.

    Raises:
        KeyError: no such role.
    """
    return next(r for r in ROLES if r.name == name)
