"""Words on the papers: headings, colors, feet, and text that the fonts of the PDF can print."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import Any

_HEADINGS = (
    *("north", "northeast", "east", "southeast"),
    *("south", "southwest", "west", "northwest"),
)
#: how a color is shown on paper without color
HATCHES = {
    "white": "outline only",
    "yellow": "lines rising to the right",
    "green": "light grey with lines falling to the right",
    "red": "level lines",
    "blue": "upright lines",
    "purple": "level and upright lines",
    "black": "dark grey",
    "other": "crossed lines",
}


def heading(bearing_deg: float | None) -> str:
    """Heading in words and degrees, "southbound, 180 degrees"."""
    if bearing_deg is None:
        return "heading not known"
    turn = bearing_deg % 360.0
    octant = _HEADINGS[round(turn / 45.0) % 8]
    return f"{octant}bound, {round(turn) % 360} degrees"


def kind_words(kind: str | None) -> str:
    """A kind without underscores."""
    return str(kind or "marking").replace("_", " ")


def number(value: float | None, digits: int = 1) -> str:
    """A number with exactly these decimals; a dash where there is none."""
    if value is None:
        return "-"
    return f"{value + 0.0:,.{digits}f}"


def feet_inches(value_ft: float | None) -> str:
    """Feet and inches as a tape reads, to the half inch: 10' 6"."""
    if value_ft is None:
        return "-"
    halves = round(abs(value_ft) * 24.0)
    feet, rest = divmod(halves, 24)
    inches = f"{rest // 2}" + (".5" if rest % 2 else "")
    return f"{'-' if value_ft < 0 and halves else ''}{feet}' {inches}\""


def minutes(value_min: float | None) -> str:
    """Minutes in words: "20 min", "1 h 05 min"."""
    whole = round(value_min or 0.0)
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


def color_of(row: Mapping[str, Any]) -> str:
    """The paint color of a section, "other" where none is known."""
    return str(row["color"] or "other")


def printable(text: Any) -> str:
    """Text that the built-in fonts of a PDF can show: others of its letters become '?'."""
    composed = unicodedata.normalize("NFC", str(text))
    spaced = " ".join(re.split(r"[^\S\u00a0]+", composed)).strip()
    shown = "".join(c for c in spaced if unicodedata.category(c) not in ("Cf", "Cc"))
    return shown.encode("cp1252", "replace").decode("cp1252")


def is_printable(text: Any) -> bool:
    """Whether `printable` keeps every letter."""
    return "?" not in printable(str(text).replace("?", ""))


#: styles that tell nothing beyond their kind
_PLAIN_STYLES = ("solid", "angle", "approaches", "bus", "figure", "")
#: kind, style -> what a painter calls it
_FIGURES = {
    ("accessible_stall", "symbol"): "wheelchair symbol",
    ("bike_box", "ground"): "bike box, ground",
    ("bike_box", "line"): "bike box, edge line",
    ("bike_detector", "symbol"): "bicycle detector symbol",
    ("bike_extension", "green"): "bike extension, green block",
    ("bike_extension", "dotted"): "bike extension, dotted line",
    ("turn_box", "arrow_left"): "turn box, left arrow",
    ("symbol", "arrow_through"): "through arrow",
    ("center_line", "two_way_left_turn"): "edge of the center turn lane",
    ("rail_crossing", "rail_x"): "rail crossing X and letters",
}


def figure_words(kind: str | None, style: str | None) -> str:
    """What is painted: the word itself, the turn of an arrow, the part of a composed marking."""
    known = _FIGURES.get((str(kind), str(style)))
    if known:
        return known
    if kind == "word":
        return f'word "{style}"' if style else "word"
    if style == "symbol":
        return "bicycle symbol" if str(kind).startswith(("bike", "turn_box", "shared")) else (
            f"{kind_words(kind)} symbol"
        )  # fmt: skip
    if not style or style in _PLAIN_STYLES or style == kind:
        return kind_words(kind)
    return f"{kind_words(kind)}, {kind_words(style)}"
