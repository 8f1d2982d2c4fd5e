"""The card of one visit: where, the drawing, the table of sections, waits, traffic, inspection."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

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
from layoutgen.export.crew.drawing import MARKS_UP_TO, Figure, job_figures
from layoutgen.export.crew.maps import job_map, stop_number
from layoutgen.export.crew.model import SHAPE, Card, Row, Shift
from layoutgen.export.crew.section_table import section_table
from layoutgen.export.crew.words import (
    HATCHES,
    color_of,
    figure_words,
    heading,
    minutes,
    number,
)

#: of more sections than this only those of markings with few pieces are drawn
_DRAWN_SECTIONS, _FEW_PIECES = 110, 12
#: drawings of so few sections are lower, those of longer jobs higher
_FEW, _LONG_FT = 6, 80.0
_CLOCK = re.compile(r"^(\d{1,2}):(\d\d)$")


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
    where_words = f"Stop {stop_number(visit)}: {job['street'] or 'street'}"
    yield Title(where_words, str(job["job_id"]), joins=True)
    where = Picture(job_map(card, shift.streets, (0.32 * size_pt[0], 0.215 * size_pt[0])))
    yield Beside(_head(card), where, 0.67)
    if job["hold"]:
        yield Text(f"HOLD TRAFFIC: {job['hold']}.", strong=True)
    yield from _over_existing(card)
    yield from _drawings(card, shift, size_pt)
    yield from section_table(card)
    yield from _waits(card)
    yield from _inspection(card)


def _head(card: Card) -> Grid:
    job, visit = card.job, card.visit
    rows = [
        ("Between", str(job["cross_streets"] or "-")),
        ("Heading of the truck", heading(job["bearing_deg"])),
        ("Arrive, start, leave", f"{visit['arrive']}, {visit['start']}, {visit['leave']}"),
        ("Hours allowed", _hours(job)),
        ("Time", minutes(job["minutes"]) + _of_it_drying(job)),
        ("Paint", f"{_by_color(card.sections)} ({job['materials'] or '-'})"),
        ("To paint", _figures(card)),
        ("Traffic control", _traffic(job)),
    ]
    return Grid((0.23, 0.77), (), rows)


def _of_it_drying(job: Row) -> str:
    return f", of it waiting for paint {minutes(job['dry_min'])}" if job["dry_min"] else ""


def _hours(job: Row) -> str:
    """Hours of the road authority, and earliest and latest start."""
    told = [f"from {job['earliest']}"] if job["earliest"] else []
    told += [f"not after {job['latest']}"] if job["latest"] else []
    start = f"; start {', '.join(told)}" if told else ""
    return f"{job['window'] or 'the whole shift'}{start}"


def _figures(card: Card) -> str:
    """Count of markings by what they are; a marking counts once, whatever its pieces."""
    named = {r["marking_id"]: figure_words(r["kind"], r["style"]) for r in card.sections}
    counts = Counter(named.values())
    return "; ".join(f"{count} {words}" for words, count in counts.items())


def _traffic(job: Row) -> str:
    """The estimate for loading in one sentence."""
    told = [f"{number(job['speed_mph'], 0)} mph posted", f"{job['duration'] or 'duration open'}"]
    if job["cones"]:
        high = f" of {number(job['cone_in'], 0)} in" if job["cone_in"] else ""
        told.append(f"{number(job['cones'], 0)} cones{high}")
    told += [f"{number(job['signs'], 0)} signs"] if job["signs"] else []
    told += ["arrow board"] if job["arrow_board"] else []
    for name, words in (("closed_ft", "closed"), ("taper_ft", "taper"), ("buffer_ft", "buffer")):
        told += [f"{number(job[name], 0)} ft {words}"] if job[name] else []
    return f"{', '.join(told)}. Estimate: the authority's plan rules."


def _by_color(sections: Sequence[Row]) -> str:
    colors = dict.fromkeys(color_of(row) for row in sections)
    sums = {c: sum(r["paint_gal"] or 0.0 for r in sections if color_of(r) == c) for c in colors}
    told = [f"{color} {number(sums[color], 4)} gal" for color in colors if sums[color]]
    for name, words in (("weight_lb", "melt or sheet {} lb"), ("primer_gal", "primer {} gal")):
        total = sum(row[name] or 0.0 for row in sections)
        told += [words.format(number(total, 4))] if total else []
    return "; ".join(told) or "none"


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
    """Drawings of what is no long line and no long row of equal pieces."""
    rows = [row for row in card.sections if not row["moving"]]
    if len(rows) > _DRAWN_SECTIONS:
        rows = [row for row in rows if (row["pieces"] or 1) <= _FEW_PIECES]
    if not rows:
        yield Text("No drawing: the table gives begin, end and offset of every line.")
        return
    part = replace(card, sections=rows)
    high = 0.28 if len(rows) <= _FEW else 0.37
    long = max(r[SHAPE].bounds[3] for r in rows) - min(r[SHAPE].bounds[1] for r in rows)
    share = 0.5 if long > _LONG_FT else high
    figures = job_figures(part, shift.streets, (size_pt[0], share * size_pt[1]))
    for figure in figures:
        yield Picture(figure.drawing, _caption(figure, part))
    if len(rows) < len(card.sections):
        left = [str(r["sequence"]) for r in card.sections if r not in rows]
        yield Text(f"Not drawn, told by the table alone: sections {_ranges(left)}.")


def _caption(figure: Figure, card: Card) -> str:
    """What hatches and signs mean, and which numbers the drawing lacks."""
    shown = [row for row in card.sections if row["sequence"] in figure.numbers]
    colors = dict.fromkeys(color_of(row) for row in shown)
    words = [f"{color}: {HATCHES.get(color, HATCHES['other'])}" for color in colors]
    text = f"Truck travels up the page; 1 in = {figure.scale_ft_per_in} ft; "
    text += "numbers: painting order; " + "; ".join(words)
    if card.marks and figure.scale_ft_per_in <= MARKS_UP_TO:
        text += "; x: corner that two pieces share"
    if card.street is None:
        text += ". No street line was found for this job: no curbs shown"
    if figure.unlabeled:
        text += f". No room for the numbers {_ranges(figure.unlabeled)}: see the table"
    return text + "."


def _waits(card: Card) -> Iterator[Block]:
    """Every drying wait in words, with the clock time at which its section begins."""
    found = [row for row in card.sections if row["wait_min"]]
    told = [
        f"Before section {row['sequence']}, {_named(row)}: wait "
        f"{minutes(row['wait_min'])}, until {_below(row, card)} is dry to the touch; planned "
        f"begin {_clock(card.visit['start'], row['start_min'])}."
        for row in found
    ]
    if told:
        yield Heading("Drying waits")
        yield Items(told)


def _below(row: Row, card: Card) -> str:
    base = [r for r in card.sections if row["over_id"] and r["marking_id"] == row["over_id"]]
    if not base:
        return "the coat below"
    numbers = _ranges([str(r["sequence"]) for r in base])
    return f"{_named(base[0])} below (section{'s' if len(base) > 1 else ''} {numbers})"


def _named(row: Row) -> str:
    """Color and kind, the color once."""
    kind, color = figure_words(row["kind"], row["style"]), color_of(row)
    return f"the {kind}" if color in kind else f"the {color} {kind}"


def _clock(start: str | None, after_min: float | None) -> str:
    """Clock time some minutes after another; minutes after the begin where that is not known."""
    known = _CLOCK.match(str(start or ""))
    if known is None:
        return f"{minutes(after_min)} after the begin"
    whole = int(known[1]) * 60 + int(known[2]) + round(after_min or 0.0)
    return f"{whole // 60 % 24:02d}:{whole % 60:02d}"


def _inspection(card: Card) -> Iterator[Block]:
    waits = sum(row["wait_min"] or 0.0 for row in card.sections)
    rest = (card.job["dry_min"] or 0.0) - waits
    dry = f", {minutes(rest)} at least," if rest > 0.01 else ""
    before = [
        "Street, side and heading agree with this card",
        "Pavement dry, swept, free of oil and loose paint",
        "Tape laid; corners of each section chalked and read back",
        "Weather gate passed; cones and signs as in the plan",
    ]
    after = [
        "Every section painted; edges sharp; right way up",
        "Wet film read: ____ mil; beads even",
        f"Last section dry to the touch{dry} before traffic returns",
        "Cones and signs in; nothing left in the street",
    ]
    yield Grid(
        (0.5, 0.5),
        ("INSPECTION BEFORE", "AFTER"),
        [(f"{TICK} {a}", f"{TICK} {b}") for a, b in zip(before, after, strict=True)],
    )
    yield Grid(
        (0.07, 0.11, 0.06, 0.11, 0.2, 0.22, 0.08, 0.15),
        (),
        [("Begin", "", "End", "", "Not done, failed, remarks", "", "Signed", "")],
        high=20.0,
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
