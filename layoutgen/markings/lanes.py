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
#: movements beside a U-turn -> figure, where traffic turns round to the left, and to the right
_UTURNS = {
    (): ("arrow_uturn_left", "arrow_uturn_right"),
    ("left",): ("arrow_uturn_and_left", None),
    ("right",): (None, "arrow_uturn_and_right"),
}
#: fish-hook arrows of roundabouts, where traffic turns round to the left, and to the right
_FISH_HOOKS = {
    ("left",): ("arrow_roundabout_left", "arrow_left"),
    ("right",): ("arrow_right", "arrow_roundabout_right"),
    ("through",): ("arrow_roundabout_through", "arrow_roundabout_through_clockwise"),
    ("left", "through"): ("arrow_roundabout_through_left", "arrow_through_left"),
    ("through", "right"): ("arrow_through_right", "arrow_roundabout_through_right"),
}


def turns(movements: Sequence[str]) -> str:
    """`must` where a lane allows turns only, `may` where it also goes on, else empty."""
    turning = {"left", "right", "reverse"} & set(movements)
    if not turning:
        return ""
    return "may" if _FREE & set(movements) else "must"


def arrow_name(
    movements: Sequence[str], *, left_round: bool = True, fish_hook: bool = False
) -> str | None:
    """Figure for a set of movements, or None where no arrow says it.

    Args:
        movements: words of `street.cross_section.MOVEMENTS`.
        left_round: traffic turns round to the left, as where it keeps to the right.
        fish_hook: the form for approaches of roundabouts, where there is one.
    """
    if {"merge", "none"} & set(movements):
        return None
    ordered = tuple(m for m in ("left", "through", "right") if m in movements)
    side = 0 if left_round else 1
    if "reverse" in movements:
        return _UTURNS.get(ordered, (None, None))[side]
    if fish_hook and ordered in _FISH_HOOKS:
        return _FISH_HOOKS[ordered][side]
    return _ARROWS.get(ordered)
