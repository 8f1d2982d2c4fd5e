"""Shape of every output table: one place drives writing, reading back and the docs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ColumnType = Literal["text", "real", "integer"]


@dataclass(frozen=True)
class Column:
    """One output column."""

    name: str
    type: ColumnType
    text: str


@dataclass(frozen=True)
class Layer:
    """One output layer of the GeoPackage; geometry None = attribute table."""

    name: str
    geometry: str | None
    stage: Literal["generate", "route"]
    text: str
    columns: tuple[Column, ...]


def _columns(spec: str) -> tuple[Column, ...]:
    """Columns from lines of `name type text`."""
    kinds: dict[str, ColumnType] = {"text": "text", "real": "real", "integer": "integer"}
    rows = (line.strip().split(None, 2) for line in spec.strip().splitlines())
    return tuple(Column(name, kinds[kind], text) for name, kind, text in rows)


LAYERS: tuple[Layer, ...] = (
    Layer(
        "streets",
        "LineString",
        "generate",
        "One row per street segment as designed.",
        _columns("""
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
        _columns("""
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
        _columns("""
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
        _columns("""
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
        "sections",
        "MultiPolygon",
        "generate",
        "One row per piece painted in one set-up.",
        _columns("""
            section_id text stable id
            marking_id text marking
            job_id text job
            sequence integer painting order in the job
            color text paint color
            area_sqft real painted area
            minutes real painting time
        """),
    ),
    Layer(
        "quantities",
        None,
        "generate",
        "One row per street, kind, color and material.",
        _columns("""
            street text street name
            kind text marking kind
            color text paint color
            material text paint material
            count integer number of markings
            area_sqft real painted area
            length_lf real painted length in feet
            paint_gal real wet paint
            beads_lb real glass beads
            minutes real painting time
            cost real paint and beads, in the currency of the settings
        """),
    ),
    Layer(
        "findings",
        "Geometry",
        "generate",
        "One row per problem or repair.",
        _columns("""
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
        _columns("""
            version text version of layoutgen
            settings_hash text hash of the effective settings
            inputs text input files with row counts: read, used, reported
            seed integer seed of the search
            started text start of the run, UTC
            seconds real time of the run
            caution text what this file is not
        """),
    ),
    Layer(
        "jobs",
        "Point",
        "route",
        "One row per set-up of the truck.",
        _columns("""
            job_id text stable id
            tour_id text tour that serves it
            sequence integer place in the tour
            segment_id text street segment it is painted from
            street text street name
            bearing_deg real direction of travel while painting
            entry_ft real station where the truck enters, along the segment
            exit_ft real station where it leaves, along the segment
            markings text marking ids, in painting order
            kinds text kinds, with counts
            area_sqft real painted area
            white_gal real white paint
            yellow_gal real yellow paint
            green_gal real green paint
            other_gal real paint of other colors
            beads_lb real glass beads
            minutes real time at the job
            window text allowed hours, empty = whole shift
            earliest text earliest start
            latest text latest start
            district text label of the district of most of its paint
        """),
    ),
    Layer(
        "visits",
        "Point",
        "route",
        "One row per arrival of a truck: job, refill or depot.",
        _columns("""
            tour_id text tour
            sequence integer order in the tour, 0 = leaving the yard
            kind text depot, job or refill
            job_id text job, empty for depot and refill
            street text street name
            arrive text clock time
            start text clock time work starts
            leave text clock time
            drive_min real drive before this visit
            drive_mi real drive before this visit
        """),
    ),
    Layer(
        "tours",
        "LineString",
        "route",
        "One row per truck shift, with its drive.",
        _columns("""
            tour_id text stable id
            date text date, or day number
            truck text truck
            start text clock time leaving the yard
            finish text clock time back at the yard
            jobs integer visits to jobs
            drive_mi real miles driven
            drive_min real minutes driven
            paint_min real minutes at jobs
            dry_min real minutes waiting for paint to dry
            wait_min real minutes waiting for a window
            changeover_min real minutes of color change, refill and lunch
            white_gal real white paint
            yellow_gal real yellow paint
            green_gal real green paint
            other_gal real paint of other colors
            beads_lb real glass beads
        """),
    ),
    Layer(
        "unserved",
        "Point",
        "route",
        "One row per job that no tour serves, with the reason.",
        _columns("""
            job_id text job
            street text street name
            reason text why it is not in a tour
        """),
    ),
)


#: what `check --layout -o` writes, into a file of its own
AUDIT = Layer(
    "audit",
    "Geometry",
    "generate",
    "One row per marking or site that breaks a row of the standard, or cannot be judged.",
    _columns("""
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
