"""What a lane is for, read from its movements."""

from __future__ import annotations

from collections.abc import Sequence

_FREE = {"through", "none", "", "merge"}
_ARROWS = {
    ("through",): "arrow_through",
    ("left",): "arrow_left",
    ("right",): "arrow_right",
    ("left", "through"): "arrow_through_left",
    ("through", "right"): "arrow_through_right",
    ("left", "right"): "arrow_left_right",
    ("left", "through", "right"): "arrow_through_left_right",
}


def turns(movements: Sequence[str]) -> str:
    """`must` where a lane allows turns only, `may` where it also goes on, else empty."""
    turning = {"left", "right"} & set(movements)
    if not turning:
        return ""
    return "may" if _FREE & set(movements) else "must"


def arrow_name(movements: Sequence[str]) -> str | None:
    """Figure for a set of movements, or None where no arrow says it."""
    ordered = tuple(m for m in ("left", "through", "right") if m in movements)
    return _ARROWS.get(ordered)
