"""The card of one visit: where, the drawing, the table of sections, waits, traffic, inspection."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from layoutgen.export.crew.blocks import (
    TICK,
    Beside,
    Block,
    Grid,
    Heading,
    Items,
    Picture,
    Text,
    Title,
)
from layoutgen.export.crew.drawing import Figure, curbs_of, job_figures
from layoutgen.export.crew.maps import job_map, stop_number
from layoutgen.export.crew.model import Card, Row, Shift
from layoutgen.export.crew.words import (
    HATCHES,
    color_of,
    feet_inches,
    heading,
    kind_words,
    minutes,
    number,
)

#: more sections than this, or a run longer than this, are told by stations alone
_DRAWN_SECTIONS, _DRAWN_FT = 60, 400.0
_CLOCK = re.compile(r"^(\d{1,2}):(\d\d)$")
_AMOUNTS = (("area_sqft", "sq ft"), ("paint_gal", "gal"), ("beads_lb", "lb of beads"))


def visit_pages(visit: Row, shift: Shift, size_pt: tuple[float, float]) -> Iterator[Block]:
    """Blocks of one visit; nothing for leaving the yard or coming back."""
    card = shift.cards.get(str(visit["job_id"])) if visit["kind"] == "job" else None
    if card is not None:
        yield from _card(card, shift, size_pt)
    elif visit["kind"] == "job":
        yield Text(
            f"Stop {stop_number(visit)}, job {visit['job_id']} at {visit['street'] or 'no street'}:"
            " the package holds no section to paint here. Ask before going there.",
            strong=True,
        )
    elif visit["kind"] != "depot":
        yield Text(
            f"Stop {stop_number(visit)}, {visit['kind']} at {visit['street'] or 'the yard'}: "
            f"arrive {visit['arrive']}, leave {visit['leave']}.  {TICK} done",
            strong=True,
        )


def _card(card: Card, shift: Shift, size_pt: tuple[float, float]) -> Iterator[Block]:
    job, visit = card.job, card.visit
    yield Title(f"Stop {stop_number(visit)}: {job['street'] or 'street'}", str(job["job_id"]))
    where = Picture(job_map(card, shift.streets, (0.32 * size_pt[0], 0.27 * size_pt[0])))
    yield Beside(_head(card), where, 0.67)
    if job["hold"]:
        yield Text(f"Traffic: {job['hold']}.", strong=True)
    yield from _over_existing(card)
    yield from _drawings(card, shift, size_pt)
    yield from _sections(card)
    yield from _waits(card)
    yield from _traffic(card)
    yield from _inspection()


def _head(card: Card) -> Grid:
    job, visit = card.job, card.visit
    limits = f"start between {job['earliest'] or '-'} and {job['latest'] or '-'}"
    rows = [
        ("Street", str(job["street"] or "-")),
        ("Between", str(job["cross_streets"] or "-")),
        ("Heading of the truck", heading(job["bearing_deg"])),
        ("Arrive, start, leave", f"{visit['arrive']}, {visit['start']}, {visit['leave']}"),
        ("Hours allowed", f"{job['window'] or 'the whole shift'}; {limits}"),
        ("Time", f"{minutes(job['minutes'])}, of it drying {minutes(job['dry_min'])}"),
        ("Paint", _by_color(card.sections)),
        ("Markings", kind_words(job["kinds"])),
        ("Materials", str(job["materials"] or "-")),
    ]
    return Grid((0.3, 0.7), (), rows)


def _by_color(sections: Sequence[Row]) -> str:
    colors = dict.fromkeys(color_of(row) for row in sections)
    sums = {c: sum(r["paint_gal"] or 0.0 for r in sections if color_of(r) == c) for c in colors}
    return "; ".join(f"{color} {number(sums[color], 4)} gal" for color in colors)


def _over_existing(card: Card) -> Iterator[Block]:
    old = [str(row["sequence"]) for row in card.sections if row["action"] == "repaint"]
    if old:
        which = "all sections" if len(old) == len(card.sections) else f"sections {_ranges(old)}"
        yield Text(
            f"OVER EXISTING PAINT: {which}. Before painting check position, "
            "heading and size of the old paint against this card; where it differs, stop and ask.",
            strong=True,
        )


def _drawings(card: Card, shift: Shift, size_pt: tuple[float, float]) -> Iterator[Block]:
    rows = card.sections
    long = max(r["to_ft"] for r in rows) - min(r["from_ft"] for r in rows)
    if len(rows) > _DRAWN_SECTIONS or long > _DRAWN_FT or all(row["moving"] for row in rows):
        yield Heading("Stations")
        yield Text("Long line job: no drawing; the table gives begin and end of each section.")
        return
    yield Heading("Drawing, to scale; the truck travels up the page")
    figures = job_figures(card, shift.streets, (size_pt[0], 0.42 * size_pt[1]))
    for k, figure in enumerate(figures, start=1):
        part = f"Part {k} of {len(figures)}. " if len(figures) > 1 else ""
        yield Picture(figure.drawing, part + _caption(figure, card))


def _caption(figure: Figure, card: Card) -> str:
    """What hatches and signs mean, and which numbers the drawing lacks."""
    shown = [row for row in card.sections if row["sequence"] in figure.numbers]
    colors = dict.fromkeys(color_of(row) for row in shown)
    words = [f"{color}: {HATCHES.get(color, HATCHES['other'])}" for color in colors]
    text = f"1 in = {figure.scale_ft_per_in} ft. Numbers: painting order. " + "; ".join(words)
    if card.marks:
        text += "; slanted cross: mark that two neighboring pieces must both meet"
    if card.street is None:
        text += ". No street line was found for this job: no curbs shown"
    if figure.unlabeled:
        text += f". No room for the numbers {', '.join(figure.unlabeled)}: see the table"
    return text + "."


def _sections(card: Card) -> Iterator[Block]:
    zero = card.zero
    side = "short of" if zero.ahead else "past"
    yield Heading("Sections in painting order")
    base = "the curb on the right of travel (L: on the left)"
    yield Text(
        f"Tape: begin and end of each section, {side} {zero.words}, measured along the street. "
        f"Offset: near and far edge from {base if card.street else 'the axis'}. H: hold, see below."
    )
    holds = _holds(card)
    rows = [_section_row(row, card, holds) for row in card.sections]
    yield Grid(
        (0.04, 0.155, 0.1, 0.09, 0.13, 0.13, 0.12, 0.06, 0.065, 0.065, 0.045),
        ("no.", "kind", "color", "lane", "tape", "offset", "length x width", "sq ft", "gal",
         "beads lb", "H"),
        [*rows, _total_row(card.sections)],
        right=(7, 8, 9),
        totals=1,
    )  # fmt: skip
    if holds:
        yield Items([f"H {sign}: {words}." for words, sign in holds.items()])


def _holds(card: Card) -> dict[str, str]:
    """Text of every hold -> its letter."""
    texts = dict.fromkeys(str(row["hold"]) for row in card.sections if row["hold"])
    return {text: chr(ord("A") + k % 26) for k, text in enumerate(texts)}


def _section_row(row: Row, card: Card, holds: dict[str, str]) -> tuple[str, ...]:
    piece = f", {row['number']} of {row['pieces']}" if (row["pieces"] or 1) > 1 else ""
    material = f", {row['material']}" if len({r["material"] for r in card.sections}) > 1 else ""
    begin, end = tape(row, card)
    sign = f" wait {minutes(row['wait_min'])} before" if row["wait_min"] else ""
    some_new = any(r["action"] != "repaint" for r in card.sections)
    over = " (over existing)" if row["action"] == "repaint" and some_new else ""
    return (
        str(row["sequence"]), f"{kind_words(row['kind'])}{piece}{over};{sign}".rstrip(";"),
        f"{color_of(row)}{material}", str(row["lane"] or "-"),
        f"{feet_inches(begin)} - {feet_inches(end)}", _offset(row, card),
        f"{feet_inches(row['length_ft'])} x {feet_inches(row['width_ft'])}",
        number(row["area_sqft"]), number(row["paint_gal"], 4), number(row["beads_lb"], 4),
        holds.get(str(row["hold"]), ""),
    )  # fmt: skip


def tape(row: Row, card: Card) -> tuple[float, float]:
    """Begin and end of a section in the order of travel, from the zero of the tape, ft."""
    first, last = row["from_ft"], row["to_ft"]
    begin, end = (first, last) if card.frame.way > 0 else (last, first)
    sign = -card.frame.way if card.zero.ahead else card.frame.way
    return (begin - card.zero.station_ft) * sign, (end - card.zero.station_ft) * sign


def _offset(row: Row, card: Card) -> str:
    """Near and far edge from the nearer curb; from the axis, positive right, without a street."""
    near, far = row["left_ft"], row["right_ft"]
    if card.frame.way < 0:
        near, far = -far, -near
    left, right = curbs_of(card)
    if left is None or right is None:
        return f"{feet_inches(near)} - {feet_inches(far)}"
    if near + left < right - far:
        return f"L {feet_inches(near + left)} - {feet_inches(far + left)}"
    return f"{feet_inches(right - far)} - {feet_inches(right - near)}"


def _total_row(sections: Sequence[Row]) -> tuple[str, ...]:
    sums = [sum(row[name] or 0.0 for row in sections) for name, _ in _AMOUNTS]
    return (
        "", f"all {len(sections)} sections", "", "", "", "", "",
        number(sums[0]), number(sums[1], 4), number(sums[2], 4), "",
    )  # fmt: skip


def _waits(card: Card) -> Iterator[Block]:
    """Every drying wait in words, with the clock time at which its section begins."""
    found = [row for row in card.sections if row["wait_min"]]
    if not found:
        return
    yield Heading("Drying waits")
    yield Items(
        [
            f"Before section {row['sequence']}, {_named(row)}: wait "
            f"{minutes(row['wait_min'])}, until {_below(row, card)} is dry to the touch; planned "
            f"begin {_clock(card.visit['start'], row['start_min'])}."
            for row in found
        ]
    )


def _below(row: Row, card: Card) -> str:
    base = [r for r in card.sections if row["over_id"] and r["marking_id"] == row["over_id"]]
    if not base:
        return "the coat below"
    numbers = _ranges([str(r["sequence"]) for r in base])
    return f"{_named(base[0])} below (section{'s' if len(base) > 1 else ''} {numbers})"


def _named(row: Row) -> str:
    """Color and kind, the color once."""
    kind, color = kind_words(row["kind"]), color_of(row)
    return f"the {kind}" if color in kind else f"the {color} {kind}"


def _clock(start: str | None, after_min: float | None) -> str:
    """Clock time some minutes after another; minutes after the begin where that is not known."""
    known = _CLOCK.match(str(start or ""))
    if known is None:
        return f"{minutes(after_min)} after the begin"
    whole = int(known[1]) * 60 + int(known[2]) + round(after_min or 0.0)
    return f"{whole // 60 % 24:02d}:{whole % 60:02d}"


def _traffic(card: Card) -> Iterator[Block]:
    job = card.job
    yield Heading("Traffic control: estimate for loading; the authority's plan rules")
    yield Grid(
        (0.1, 0.1, 0.14, 0.1, 0.12, 0.12, 0.12, 0.2),
        ("posted mph", "lane closed", "cones", "signs", "arrow board", "taper", "buffer",
         "duration"),
        [(
            number(job["speed_mph"], 0), f"{number(job['closed_ft'], 0)} ft",
            f"{number(job['cones'], 0)}, {number(job['cone_in'], 0)} in high",
            number(job["signs"], 0), "yes" if job["arrow_board"] else "no",
            f"{number(job['taper_ft'], 0)} ft", f"{number(job['buffer_ft'], 0)} ft",
            str(job["duration"] or "-"),
        )],
    )  # fmt: skip


def _inspection() -> Iterator[Block]:
    before = [
        "Street, side and heading agree with this card",
        "Pavement dry, swept, free of oil and loose paint",
        "Tape laid; corners of each section chalked and read back",
        "Weather gate passed; cones and signs as in the plan",
    ]
    after = [
        "Every section painted; edges sharp; right way up",
        "Wet film read: ____ mil; beads even",
        "Dry to the touch before traffic returns",
        "Cones and signs in; nothing left in the street",
    ]
    yield Heading("Inspection")
    yield Grid(
        (0.5, 0.5),
        ("BEFORE", "AFTER"),
        [(f"{TICK} {a}", f"{TICK} {b}") for a, b in zip(before, after, strict=True)],
    )
    yield Grid(
        (0.12, 0.13, 0.12, 0.13, 0.25, 0.25),
        (),
        [("Begin", "", "End", "", "Sections not done or failed", ""),
         ("Signed", "", "Clock", "", "Remarks, photos", "")],
        high=18.0,
    )  # fmt: skip


def _ranges(numbers: Sequence[str]) -> str:
    """Sorted numbers with runs joined: "1-3, 7"."""
    out: list[list[int]] = []
    for value in sorted(int(n) for n in numbers):
        if out and value == out[-1][-1] + 1:
            out[-1].append(value)
        else:
            out.append([value])
    return ", ".join(f"{r[0]}-{r[-1]}" if len(r) > 1 else str(r[0]) for r in out)
