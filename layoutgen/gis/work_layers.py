"""Output tables of the work: sections, amounts, jobs, tours, records."""

from __future__ import annotations

from layoutgen.gis.columns import Layer, columns_of

WORK_LAYERS: tuple[Layer, ...] = (
    Layer(
        "sections",
        "MultiPolygon",
        "route",
        "One row per piece painted in one set-up of the applicator.",
        columns_of("""
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
        columns_of("""
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
        columns_of("""
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
        columns_of("""
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
        "jobs",
        "Point",
        "route",
        "One row per set-up of the truck.",
        columns_of("""
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
        columns_of("""
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
        columns_of("""
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
        columns_of("""
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
        columns_of("""
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
        columns_of("""
            job_id text job
            street text street name
            reason text why it is not in a tour
        """),
    ),
)
