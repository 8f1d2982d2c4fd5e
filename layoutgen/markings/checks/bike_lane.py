"""Checks of bike lanes: MUTCD 11th edition 9E.01, 9E.02, 9E.05 to 9E.08."""

from __future__ import annotations

from layoutgen.markings.conformity import Check

CHECKS: tuple[Check, ...] = ()
