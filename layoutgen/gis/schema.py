"""Shape of every output table: one place drives writing, reading back and the docs."""

from __future__ import annotations

from layoutgen.gis.columns import Column, ColumnType, Layer, columns_of
from layoutgen.gis.work_layers import WORK_LAYERS

__all__ = ["AUDIT", "LAYERS", "Column", "ColumnType", "Layer", "layer"]

LAYERS: tuple[Layer, ...] = (
    Layer(
        "streets",
        "LineString",
        "generate",
        "One row per street segment as designed.",
        columns_of("""
            segment_id text stable id
            source_ids text ids of the input lines it was made of
            name text street name
            street_class text functional class
            speed_mph real posted speed or class default
            speed_source text table, attribute, or class default
            oneway text both, forward or backward, along the line as written
            width_ft real roadway width, curb to curb
            width_source text curbs, table, attribute, or class default
            left_ft real distance from the axis to the left curb, along the line as written
            right_ft real distance from the axis to the right curb
            lanes_source text table, attribute, or class default
            length_ft real length of the axis
            bike_left text bike facility on the left, along the line as written, or none
            bike_right text bike facility on the right, or none
            bike_source text bike_facilities, attribute, or none
            strips text strips of the cross-section, left to right, with widths in ft
            district text label of its district; empty without districts, or outside
        """),
    ),
    Layer(
        "intersections",
        "MultiPolygon",
        "generate",
        "One row per intersection: the area between the curb lines of its legs.",
        columns_of("""
            intersection_id text stable id
            name text name
            control text signal, all_way_stop, two_way_stop, yield or none
            legs integer number of legs
            district text label of its district; empty without districts
        """),
    ),
    Layer(
        "approaches",
        "LineString",
        "generate",
        "One row per approach: the line where its traffic stops or would stop.",
        columns_of("""
            approach_id text intersection and compass octant of the leg
            intersection_id text intersection
            segment_id text street segment
            street text street name
            bearing_deg real direction of travel toward the intersection
            control text signal, stop, yield or none
            control_source text which input or setting decided the control
            lanes integer inbound lanes
            movements text lanes left to right as the driver sees them
            curb_ft real station of the crossing curb line at the axis, from the intersection
            stop_ft real station of the stop position at the axis, from the intersection
        """),
    ),
    Layer(
        "markings",
        "MultiPolygon",
        "generate",
        "One row per marking: the painted area and why it is there.",
        columns_of("""
            marking_id text stable id
            kind text marking kind
            style text style of the kind
            rule text rule that asked for it
            reason text why it is there
            sources text rows of the standard behind its settings
            segment_id text street segment
            intersection_id text intersection, if it belongs to one
            street text street name
            station_ft real station of its anchor along the segment, from the first point
            offset_ft real offset of its anchor from the axis, positive to the right
            bearing_deg real direction of travel that reads it
            color text paint color
            material text paint material
            coat integer 1 = on the pavement, 2 = over another coat
            over_id text marking it is painted over
            length_ft real painted length along its main direction
            width_ft real width of the line or of the figure
            area_sqft real painted area
            action text new, repaint or keep
            condition text known condition of what is there
            district text label of its district; empty without districts
        """),
    ),
    Layer(
        "findings",
        "Geometry",
        "generate",
        "One row per problem or repair.",
        columns_of("""
            code text stable short name
            severity text error, warning or notice
            source text role or stage
            feature_id text row it concerns
            text text what is wrong
            fix text what to do
            rows integer input rows left out because of it
        """),
    ),
    Layer(
        "run_info",
        None,
        "generate",
        "One row: how this file was made.",
        columns_of("""
            version text version of layoutgen
            settings_hash text hash of the effective settings
            inputs text input files with row counts: read, used, reported
            seed integer seed of the search
            started text start of the run, UTC
            seconds real time of the run
            caution text what this file is not
        """),
    ),
    *WORK_LAYERS,
)


#: what `check --layout -o` writes, into a file of its own
AUDIT = Layer(
    "audit",
    "Geometry",
    "generate",
    "One row per marking or site that breaks a row of the standard, or cannot be judged.",
    columns_of("""
        code text row of the standard, or name of the problem
        severity text error, warning or notice
        feature_id text marking, leg, segment or intersection
        kind text kind of the marking, or of the site
        street text street name
        section text section of the standard
        measured text what is wrong, as measured
        asked text what the row asks
        text text the same in one sentence
        fix text what to do
    """),
)


def layer(name: str) -> Layer:
    """The output layer of that name.

    Raises:
        KeyError: no such layer.
    """
    return next(lay for lay in LAYERS if lay.name == name)
