"""Cases of rules whose `where` fits no site: mostly a misspelled name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from layoutgen.errors import Finding
from layoutgen.markings.engine import RuleSetting, Site, served_sites, site_attributes
from layoutgen.street.design import Design


def idle_cases(design: Design, settings: Sequence[RuleSetting]) -> list[Finding]:
    """A notice for every case that matches no site its rule looks at."""
    served = served_sites(design)
    out = []
    for setting in settings:
        if setting.cases:
            out += _idle(setting, served[setting.rule.on])
    return out


def _idle(setting: RuleSetting, sites: Iterable[Site]) -> list[Finding]:
    rows = [site_attributes(setting, site) for site in sites]
    return [
        _finding(setting.name, number, dict(where.conditions))
        for number, (where, _) in enumerate(setting.cases, start=1)
        if not any(where.matches(row) for row in rows)
    ]


def _finding(rule: str, number: int, conditions: Mapping[str, Any]) -> Finding:
    asked = ", ".join(f"{name} = {wanted!r}" for name, wanted in conditions.items())
    return Finding(
        code="case_matches_nothing",
        severity="notice",
        source="markings",
        feature_id=f"rules.{rule}.cases[{number - 1}]",
        text=f"case {number} of {rule} ({asked}) fits no place in this layout",
        fix="check the spelling of names and ids in its `where`, or leave it for another district",
    )
