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
    stage: Literal["generate", "route", "record"]
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
        "route",
        "One row per piece painted in one set-up of the applicator.",
        _columns("""
            section_id text stable id: marking and number
            marking_id text marking
            job_id text job
            sequence integer painting order in the job, from 1
            number integer piece of its marking, from 1
            pieces integer pieces of its marking
            kind text marking kind
            street text street name
            color text paint color
            material text paint material
            coat integer 1 = on the pavement, 2 = over another coat
            over_id text marking it is painted over
            lane text lane the truck stands in, from the left of its driver
            bearing_deg real heading of the truck
            from_ft real first station along the segment
            to_ft real last station along the segment
            left_ft real least offset from the axis, positive to the right
            right_ft real largest offset from the axis
            stand_ft real station of the middle of the applicator
            length_ft real extent along travel
            width_ft real extent across travel, or width of the line
            area_sqft real painted area
            paint_gal real wet paint
            beads_lb real glass beads
            primer_gal real primer or sealer
            weight_lb real melt or sheet material
            cost real paint, beads and primer, in the currency of the settings
            minutes real positioning and painting it
            start_min real begin, from the begin of work at the job
            wait_min real drying waited for before it
            moving integer 1 = painted while driving along
            hold text why traffic must be held, or empty
            status text open, painted or failed
            action text new, repaint or keep
        """),
    ),
    Layer(
        "register_marks",
        "Point",
        "route",
        "One row per mark that two neighboring pieces must both meet.",
        _columns("""
            mark_id text stable id
            marking_id text marking
            section_id text piece before the mark
            next_id text piece after it
            station_ft real station along the segment
            offset_ft real offset from the axis, positive to the right
        """),
    ),
    Layer(
        "quantities",
        None,
        "generate",
        "One row per street, bid item, kind, color and material.",
        _columns("""
            street text street name
            item text bid item
            kind text marking kind
            color text paint color
            material text paint material
            unit text EA, LF or SF
            quantity real in that unit
            equivalent_lf real feet of 4 in line with the same area
            count integer number of markings
            area_sqft real painted area
            length_lf real painted length in feet
            paint_gal real wet paint
            beads_lb real glass beads
            primer_gal real primer or sealer
            weight_lb real melt or sheet material
            minutes real painting time
            cost real paint, beads and primer, in the currency of the settings
        """),
    ),
    Layer(
        "materials",
        None,
        "route",
        "One row per material of this layout: what the weather gate asks.",
        _columns("""
            material text name
            form text paint, plural component, melt or sheet
            film_mil real wet film, or thickness of the melt or sheet
            beads text bead types and rates
            no_track_min real until tires do not mark it, at the planned temperature
            dry_min real until it may be painted over, at the planned temperature
            min_air_f real least air temperature
            max_air_f real highest air temperature
            min_pavement_f real least pavement temperature
            max_pavement_f real highest pavement temperature
            max_humidity_percent real highest relative humidity
            dew_margin_f real pavement above the dew point by at least this
            life_years real service life
            note text what the crew must know
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
            cross_streets text streets at the ends of the segment, entered from first
            bearing_deg real direction of travel while painting
            entry_ft real station where the truck enters, along the segment
            exit_ft real station where it leaves, along the segment
            markings text marking ids, in painting order
            kinds text kinds, with counts
            sections integer pieces to paint
            area_sqft real painted area
            white_gal real white paint
            yellow_gal real yellow paint
            green_gal real green paint
            other_gal real paint of other colors
            beads_lb real glass beads
            primer_gal real primer or sealer
            weight_lb real melt or sheet material
            materials text materials used
            cost real paint, beads and primer
            minutes real time at the job
            dry_min real waits for drying within it
            moving integer 1 = long lines, painted while driving along
            speed_mph real posted speed
            closed_ft real width taken from traffic
            cones integer estimate for loading
            cone_in integer least height of the cones in inches
            signs integer advance signs, estimate for loading
            arrow_board integer 1 = arrow board
            taper_ft real length of the taper
            buffer_ft real length of the buffer space
            duration text mobile, short duration, short-term or intermediate-term
            hold text why traffic must be held, or empty
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
            primer_gal real primer or sealer
            weight_lb real melt or sheet material
            cost real paint, beads and primer
            cones integer most cones at one job
        """),
    ),
    Layer(
        "loads",
        None,
        "route",
        "One row per tour and thing to load; estimates.",
        _columns("""
            tour_id text tour
            item text paint, beads, primer, melt, sheet, water, cones, signs, spare tips ...
            color text paint color, or empty
            material text paint material or bead type, or empty
            amount real in that unit
            unit text gal, lb or pieces
            note text where the amount comes from
        """),
    ),
    Layer(
        "records",
        None,
        "record",
        "One row per section and entry of a crew's log.",
        _columns("""
            record_id text stable id, in order of entry
            section_id text section
            marking_id text marking
            job_id text job, as planned then
            date text date of the work
            time text clock time of the work
            result text painted, failed or skipped
            inspection text what the inspection afterwards said
            note text remark of the crew
            color text paint color
            material text paint material
            area_sqft real area of the section when it was recorded
            paint_gal real wet paint used, empty = not told
            beads_lb real glass beads used, empty = not told
            minutes real minutes taken, empty = not told
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
