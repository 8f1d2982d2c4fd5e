"""Bid items: what a marking is paid as, and in which unit (rows OP-211 to OP-218)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

#: figures, paid each (row OP-213)
_FIGURES = (
    *("turn_arrow", "turn_lane_arrow", "wrong_way_arrow", "symbol", "shared_lane"),
    *("yield_ahead", "bike_detector"),
)
_FIGURE_STYLES = ("symbol", "diamond", "rail_x")
#: paid by painted length, whatever paints them (row OP-211)
_LINES = ("stop_line", "ring_edge", "entry_line", "parking_stall", "channelizing_line")
_LINE_STYLES = ("outline", "line", "lines", "transverse_lines", "double_solid")
#: paid by area though they are lines (row OP-212)
_AREAS = ("crosswalk", "red_lane", "bike_green")
_WIDEST_LINE_IN = 24.0


def bid_item(row: Mapping[Any, Any]) -> tuple[str, str]:
    """(item, unit) of a marking; unit EA, LF or SF.

    Args:
        row: kind, style, is_line and width_ft of the marking.
    """
    kind, style = str(row["kind"]), str(row["style"])
    width_in = float(row["width_ft"]) * 12.0
    if kind == "word":
        return "pavement message, word", "EA"
    if kind in _FIGURES or style in _FIGURE_STYLES or style.startswith("arrow"):
        return ("arrow" if "arrow" in kind + style else "symbol"), "EA"
    line = bool(row["is_line"]) or kind in _LINES or style.endswith(_LINE_STYLES)
    thin = width_in <= _WIDEST_LINE_IN + 1e-6
    if line and thin and kind not in _AREAS and "green" not in style:
        return f"{width_in:.0f} in line", "LF"
    return "marking area", "SF"
