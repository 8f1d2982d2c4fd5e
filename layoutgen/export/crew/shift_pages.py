"""Pages of a whole shift: cover, load sheet, weather gate, daily log."""

from __future__ import annotations

from collections.abc import Iterator

from layoutgen.export.crew.blocks import TICK, Block, Grid, Heading, Items, Picture, Text, Title
from layoutgen.export.crew.maps import stop_number, tour_map
from layoutgen.export.crew.model import Row, Shift
from layoutgen.export.crew.words import is_printable, kind_words, minutes, number
from layoutgen.export.formats import CAUTION

#: common practice (OP-253: a worker picking up cones was backed over)
CAUTIONS = (
    "The road authority's traffic control plan rules. Cones, signs, taper, buffer and duration on "
    "these papers are estimates for loading the truck, not a plan.",
    "Local codes and a licensed engineer decide what is painted. In doubt do not paint: call.",
    "Stop at once when a person on foot, a bicycle or a vehicle enters the work zone.",
    "Do not back up over wet paint, nor toward anybody who sets or picks up cones: one person "
    "watches, and the driver stops when that person is out of sight.",
    "Keep traffic off the paint until a touch leaves no mark, whatever the clock says.",
)
#: rules beside the limits; OP-074, OP-066, OP-067
_GATE = (
    "Take readings before the first section, every 4 hours of work, and when the weather turns.",
    "Do not paint on wet pavement, with rain in sight, or outside any limit below.",
    "A coat over another coat: the one below must be dry to the touch first.",
    "Paint that dries too slowly: stop until the cause is found.",
)
_COLORS = ("white", "yellow", "green", "other")
_BLANK = ""


def cover(shift: Shift, width_pt: float) -> Iterator[Block]:
    """Who, when, where to, and the cautions."""
    tour = shift.tour
    yield Title(f"Crew papers: {tour['tour_id']}", str(tour["date"] or ""))
    visits = [visit for visit in shift.visits if visit["kind"] != "depot"]
    yield Grid(
        (0.12, 0.22, 0.12, 0.2, 0.16, 0.18),
        (),
        [
            ("Truck", _said(tour["truck"]), "Start", _said(tour["start"])
             , "Visits", str(len(visits))),
            ("Date", _said(tour["date"]), "Finish", _said(tour["finish"])
             , "Miles to drive", number(tour["drive_mi"])),
            ("At jobs", minutes(tour["paint_min"]), "Drying waits", minutes(tour["dry_min"])
             , "Paint, gal", number(_gallons(tour), 4)),
            ("Operator", _BLANK, "Second person", _BLANK, "Supervisor's phone", _BLANK),
        ],
        high=17.0,
    )  # fmt: skip
    yield Picture(
        tour_map(shift, (width_pt, 0.36 * width_pt)),
        "Grey: streets. Black: the drive. Numbers as in the list below.",
    )
    yield Items(CAUTIONS)
    yield Text(CAUTION, strong=True)
    yield Heading("Visits")
    yield Grid(
        (0.06, 0.21, 0.36, 0.075, 0.075, 0.075, 0.065, 0.08),
        ("stop", "street", "to paint", "arrive", "start", "leave", "miles", "drive min"),
        [_visit_row(visit, shift) for visit in shift.visits],
        right=(3, 4, 5, 6, 7),
    )
    if any(card.job["hold"] for card in shift.cards.values()):
        yield Text("*: traffic must be held or take turns, see the card.")
    yield from _gaps(shift)


def _visit_row(visit: Row, shift: Shift) -> tuple[str, ...]:
    return (
        stop_number(visit), _said(visit["street"]), _task(visit, shift), _said(visit["arrive"]),
        _said(visit["start"]), _said(visit["leave"]), number(visit["drive_mi"]),
        number(visit["drive_min"], 0),
    )  # fmt: skip


def _task(visit: Row, shift: Shift) -> str:
    """Kinds to paint, or what else the stop is for; a star where traffic must be held."""
    card = shift.cards.get(str(visit["job_id"]))
    if card is None:
        return _said(visit["kind"])
    return f"{kind_words(card.job['kinds'])}{' *' if card.job['hold'] else ''}"


def _gaps(shift: Shift) -> Iterator[Block]:
    """What these papers could not show."""
    if shift.lost:
        names = ", ".join(shift.lost)
        yield Text(f"No section to paint was found for: {names}. Ask before going there.", True)
    said = [v["street"] for v in shift.visits] + [r["name"] for r in shift.streets.rows]
    if not all(is_printable(name or "") for name in said):
        yield Text("A '?' in a name: the PDF has no such letter; the HTML page shows the name.")


def load_sheet(shift: Shift) -> Iterator[Block]:
    """What goes on the truck, with boxes to tick and blanks for batch and expiry."""
    yield Title("Load sheet", str(shift.tour["tour_id"]))
    yield Text(
        "Amounts are the sums of the sections, or estimates as noted; load the spare that your "
        "yard asks for on top. A batch past its date stays in the yard."
    )
    yield Grid(
        (0.05, 0.13, 0.1, 0.2, 0.11, 0.08, 0.11, 0.1, 0.12),
        ("", "item", "color", "material", "amount", "unit", "loaded", "batch", "use before"),
        [_load_row(load) for load in shift.loads],
        right=(4,),
        high=17.0,
    )
    notes = dict.fromkeys(f"{_item(r)}: {r['note']}." for r in shift.loads if r["note"])
    if notes:
        yield Items(list(notes))
    yield Heading("Before leaving the yard")
    yield Items(
        [
            f"{TICK} Lights, arrow board, horn, backing alarm, mirrors and extinguisher work.",
            f"{TICK} Applicator holds pressure; tips clean; hoses sound; bead guns run.",
            f"{TICK} Wet-film gauge, tape, chalk, thermometers, hygrometer, phone on board.",
            f"{TICK} Traffic control plan, safety data sheets and these papers on board.",
            f"{TICK} Vests, eye and hearing protection for everybody.",
        ]
    )
    yield from _signature("Loaded and checked by")


def _load_row(load: Row) -> tuple[str, ...]:
    unit = _said(load["unit"])
    digits = 0 if unit == "pieces" else 4 if load["item"] in ("paint", "beads", "primer") else 1
    return (
        TICK, _said(load["item"]), _said(load["color"], ""), _said(load["material"], ""),
        number(load["amount"], digits), unit, _BLANK, _BLANK, _BLANK,
    )  # fmt: skip


def _item(load: Row) -> str:
    return " ".join(str(load[key]) for key in ("color", "item") if load[key]).capitalize()


def weather_gate(shift: Shift) -> Iterator[Block]:
    """Limits of each material, and blanks for readings."""
    yield Title("Weather gate", str(shift.tour["tour_id"]))
    yield Items(_GATE)
    yield Heading("Limits (degrees F)")
    yield Grid(
        (0.2, 0.1, 0.1, 0.12, 0.12, 0.12, 0.12, 0.12),
        ("material", "film, mil", "air", "pavement", "humidity, %", "pavement above dew point",
         "no-track, min", "dry, min"),
        [_limits(row) for row in _used(shift)],
    )  # fmt: skip
    yield Items(
        [
            f"{_said(row['material'])}: beads {_said(row['beads'], 'none')}"
            + (f"; {row['note']}." if row["note"] else ".")
            for row in _used(shift)
        ]
    )
    yield Text(
        "Drying times are those of the planned weather; cold or damp air makes them longer. The "
        "maker's data sheet rules where it asks for more."
    )
    yield Heading("Readings")
    yield Grid(
        (0.12, 0.11, 0.13, 0.13, 0.13, 0.14, 0.12, 0.12),
        ("when", "clock", "air, F", "pavement, F", "humidity, %", "dew point, F",
         "go / no go", "initials"),
        [(when, *[_BLANK] * 7) for when in ("start", "4 h", "8 h", "other", "other")],
        high=19.0,
    )  # fmt: skip


def _used(shift: Shift) -> list[Row]:
    """Materials of this shift; all, where none of them is known by name."""
    names = {row["material"] for card in shift.cards.values() for row in card.sections}
    return [r for r in shift.materials if r["material"] in names] or list(shift.materials)


def _limits(row: Row) -> tuple[str, ...]:
    humidity, dew = row["max_humidity_percent"], row["dew_margin_f"]
    return (
        _said(row["material"]), number(row["film_mil"], 0),
        _range(row["min_air_f"], row["max_air_f"]),
        _range(row["min_pavement_f"], row["max_pavement_f"]),
        "no limit given" if humidity is None else f"at most {humidity:.0f}",
        "not given" if dew is None else f"at least {dew:.0f}",
        number(row["no_track_min"], 0), number(row["dry_min"], 0),
    )  # fmt: skip


def _range(low: float | None, high: float | None) -> str:
    if low is None and high is None:
        return "not given"
    if high is None:
        return f"at least {low:.0f}"
    return f"at most {high:.0f}" if low is None else f"{low:.0f} to {high:.0f}"


def daily_log(shift: Shift) -> Iterator[Block]:
    """The form that comes back to the office (fields: OP-202, OP-207, OP-209)."""
    tour = shift.tour
    yield Title("Daily log", str(tour["tour_id"]))
    yield Grid(
        (0.16, 0.17, 0.16, 0.17, 0.17, 0.17),
        (),
        [
            ("Date", _said(tour["date"]), "Truck", _said(tour["truck"]), "Operator", _BLANK),
            ("Left yard", _BLANK, "Back at yard", _BLANK, "Odometer out / in", _BLANK),
        ],
        high=18.0,
    )
    yield Heading("Tanks, gal, and melt by weight")
    yield Grid(
        (0.16, 0.14, 0.14, 0.14, 0.14, 0.14, 0.14),
        ("color", "planned", "at begin", "refilled", "at end", "used", "wet film read, mil"),
        [*(_tank_row(tour, color) for color in _COLORS), *_other_rows(tour)],
        right=(1,),
        high=18.0,
    )
    yield Heading("Weather")
    yield Grid(
        (0.16, 0.14, 0.14, 0.14, 0.14, 0.14, 0.14),
        ("when", "clock", "sky, wind", "air, F", "pavement, F", "humidity, %", "dew point, F"),
        [(when, *[_BLANK] * 6) for when in ("start", "4 h", "8 h", "end")],
        high=18.0,
    )
    yield Heading("Work done")
    yield Grid(
        (0.07, 0.33, 0.12, 0.12, 0.12, 0.12, 0.12),
        ("stop", "street and kinds", "sections planned", "sections done", "begin", "end", "failed"),
        [_done_row(visit, shift) for visit in shift.visits if visit["kind"] == "job"],
        right=(2,),
        high=18.0,
    )
    yield Heading("Hours without painting")
    causes = ("weather", "breakdown", "traffic control", "waiting", "material, refill", "other")
    yield Grid(tuple(1 / 6 for _ in causes), causes, [tuple(_BLANK for _ in causes)], high=20.0)
    yield Heading("Remarks (faults found, layout that did not fit, complaints, damage)")
    yield Grid((1.0,), (), [(_BLANK,)], high=70.0)
    yield from _signature("Operator")


def _tank_row(tour: Row, color: str) -> tuple[str, ...]:
    return (color, number(tour[f"{color}_gal"], 4), *[_BLANK] * 5)


def _other_rows(tour: Row) -> list[tuple[str, ...]]:
    """Primer, and melt or sheet by weight, where the shift has any."""
    named = (("primer_gal", "primer"), ("weight_lb", "melt, sheet (lb)"))
    return [(words, number(tour[name], 4), *[_BLANK] * 5) for name, words in named if tour[name]]


def _done_row(visit: Row, shift: Shift) -> tuple[str, ...]:
    card = shift.cards.get(str(visit["job_id"]))
    kinds = "" if card is None else f": {kind_words(card.job['kinds'])}"
    count = "-" if card is None else str(len(card.sections))
    return (stop_number(visit), f"{_said(visit['street'])}{kinds}", count, *[_BLANK] * 4)


def _signature(words: str) -> Iterator[Block]:
    yield Grid((0.24, 0.36, 0.12, 0.28), (), [(words, _BLANK, "Date, clock", _BLANK)], high=22.0)


def _gallons(tour: Row) -> float:
    return float(sum(tour[f"{color}_gal"] or 0.0 for color in _COLORS))


def _said(value: object, missing: str = "-") -> str:
    return str(value) if value not in (None, "") else missing
