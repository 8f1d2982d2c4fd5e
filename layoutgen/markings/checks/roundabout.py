"""What the standard asks of entries of roundabouts."""

from __future__ import annotations

from layoutgen.markings.checks.places import depth_ft
from layoutgen.markings.conformity import INCH, Check, LaidOut, Paint, color_check
from layoutgen.street.design import Leg

ENTRY = ("entry_line",)


def _missing(leg: Leg, laid: LaidOut) -> str | None:
    if not leg.circular or leg.control != "yield":
        return None
    return None if laid.on_leg(leg, *ENTRY) else "no entry line"


def _wide(paint: Paint, _: LaidOut) -> str | None:
    depths = [depth_ft(p.shape, paint.bearing_deg) for p in paint.parts]
    return None if min(depths) >= 8 * INCH - 0.01 else f"{min(depths) / INCH:.1f} in wide"


def _dotted(paint: Paint, _: LaidOut) -> str | None:
    return None if len(paint.parts) > 1 else "one piece, not dotted"


CHECKS = (
    Check("ROUND-01", "an entry line where traffic enters", _missing, on="approach"),
    color_check("ROUND-01", ENTRY, ("white",)),
    Check("ROUND-01", "a wide line", _wide, ENTRY),
    Check("ROUND-01", "a dotted line", _dotted, ENTRY),
)
