"""A layout held against the rows of the standard: which rows were asked, and which are broken."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Literal

import shapely

from layoutgen.config import Params, choice, length
from layoutgen.errors import Finding, Severity
from layoutgen.markings.catalog import rule_catalog, standard_rows
from layoutgen.markings.checks import general
from layoutgen.markings.conformity import ANY, Check, LaidOut, Paint, measuring_to
from layoutgen.markings.jurisdiction import jurisdiction, severity
from layoutgen.markings.paint_faults import off_roadway, overlaps
from layoutgen.markings.paints import ROLE
from layoutgen.street.design import Block, Design, Intersection, Leg


class AuditParams(Params):
    """`[audit]`: which rows a layout is held to, and how breaches are told."""

    jurisdictions: tuple[str, ...] = choice(
        ("federal",),
        source="design",
        text="whose rows are asked: federal, and states such as california or washington",
    )
    rows_off: tuple[str, ...] = choice(
        (), source="design", text="rows that are not asked, such as one a state rule replaces"
    )
    errors: tuple[str, ...] = choice(
        (), source="design", text="rows whose breach is an error, whatever their strength"
    )
    warnings: tuple[str, ...] = choice(
        (), source="design", text="rows whose breach is a warning, whatever their strength"
    )
    notices: tuple[str, ...] = choice(
        (), source="design", text="rows whose breach is a notice, whatever their strength"
    )
    missing: Literal["auto", "shown", "all"] = choice(
        "auto",
        source="design",
        text="what streets lack is told for every kind (all), or only for kinds the layout shows "
        "(shown), so that a file of crosswalks is not blamed for arrows; auto = all for a layout "
        "made by this program, shown for other files",
    )
    reach_ft: float = length(
        "60 ft",
        low="5 ft",
        high="300 ft",
        source="common practice",
        text="a marking farther from every street axis is reported and not judged",
    )
    tolerance_ft: float = length(
        "0.06 in",
        low="0 in",
        high="6 in",
        source="common practice",
        text="a measured size may be off by this much; raise it for files with rounded coordinates",
    )


@dataclass(frozen=True)
class Breach(Finding):
    """A finding of an audit: the row, what it asks, and what was measured; code = row id."""

    section: str = ""
    kind: str = ""
    street: str = ""
    measured: str = ""
    asked: str = ""


@dataclass(frozen=True)
class RowCount:
    """A row that was asked: of how many markings or sites, and how many break it."""

    row: str
    severity: Severity
    jurisdiction: str
    checked: int
    breached: int


@dataclass
class Audit:
    """Result of an audit: counts by row, findings, and how many rows of the layout were judged."""

    rows: list[RowCount] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    judged: int = 0


@cache
def all_checks() -> tuple[Check, ...]:
    """Checks of all rules, and those that belong to none, in the order of the standards table."""
    place = {row: k for k, row in enumerate(standard_rows())}
    found = [check for rule in rule_catalog().values() for check in rule.checks]
    return tuple(sorted([*found, *general.CHECKS], key=lambda c: place[c.row]))


def checks_in_force(params: AuditParams, checks: Sequence[Check] | None = None) -> list[Check]:
    """Checks on rows of the chosen jurisdictions that are not switched off."""
    rows = standard_rows()
    asked = all_checks() if checks is None else checks
    return [
        check
        for check in asked
        if jurisdiction(rows[check.row]) in params.jurisdictions
        and check.row not in params.rows_off
    ]


def audit(
    paints: Sequence[Paint],
    design: Design,
    params: AuditParams,
    checks: Sequence[Check] | None = None,
) -> Audit:
    """Every check in force, asked of every marking and site it concerns.

    Sites are asked for what they lack only where the layout has paint: a file may cover a part of
    the street model. With `missing` = shown they are asked for kinds that it shows.

    Args:
        paints: the layout.
        design: the street model.
        params: rows, severities and tolerance.
        checks: in place of all that the program knows.
    """
    out = Audit()
    known = {kind for check in (*all_checks(), *(checks or ())) for kind in check.kinds}
    strange = [p for p in paints if p.kind not in known]
    out.findings += [_strange(p) for p in strange]
    paints = tuple(p for p in paints if p.kind in known)
    out.judged = len(paints)
    laid = LaidOut(paints, design)
    with measuring_to(params.tolerance_ft):
        _ask_all(checks_in_force(params, checks), laid, params, out)
    out.findings += off_roadway(paints, design) + overlaps(paints)
    return out


def _ask_all(checks: Sequence[Check], laid: LaidOut, params: AuditParams, out: Audit) -> None:
    by_kind: dict[str, list[Paint]] = {}
    for paint in laid.paints:
        by_kind.setdefault(paint.kind, []).append(paint)
    sites = _sites(laid)
    counts: dict[str, tuple[set[Any], set[Any]]] = {}
    absent: set[str] = set()
    for check in checks:
        checked, breached = counts.setdefault(check.row, (set(), set()))
        if check.on and params.missing == "shown" and not wanted_of(check) & set(by_kind):
            absent |= wanted_of(check)
            continue
        for name, subject in _subjects(check, by_kind, sites):
            checked.add(name)
            wrong = check.test(subject, laid)
            if wrong is not None:
                breached.add(name)
                out.findings.append(_breach(check, (subject, laid), wrong, params))
    out.findings += [_not_shown(absent)] if absent else []
    out.rows += [
        RowCount(row, _told_as(row, params), jurisdiction(standard_rows()[row]), len(a), len(b))
        for row, (a, b) in counts.items()
    ]


def wanted_of(check: Check) -> frozenset[str]:
    """Kinds whose lack a check of sites may tell: its own, else those most asked in its group."""
    if check.kinds:
        return frozenset(check.kinds)
    return _kinds_of_groups()[standard_rows()[check.row]["group"]]


@cache
def _kinds_of_groups() -> Mapping[str, frozenset[str]]:
    """Group of rows -> kinds that at least half as many checks ask as its most asked kind."""
    rows = standard_rows()
    counts: dict[str, Counter[str]] = {row["group"]: Counter() for row in rows.values()}
    for check in all_checks():
        counts[rows[check.row]["group"]].update(k for k in check.kinds if k != ANY)
    return {
        group: frozenset(k for k, n in found.items() if 2 * n >= max(found.values()))
        for group, found in counts.items()
    }


def _subjects(
    check: Check,
    by_kind: Mapping[str, Sequence[Paint]],
    sites: Mapping[str, Sequence[tuple[str, Any]]],
) -> Iterator[tuple[str, Any]]:
    """(id, marking or site) that a check is asked of."""
    if check.on:
        yield from sites[check.on]
        return
    kinds = by_kind if ANY in check.kinds else check.kinds
    for kind in kinds:
        for paint in by_kind.get(kind, ()):
            if check.asks(paint):
                yield paint.marking_id, paint


def _sites(laid: LaidOut) -> dict[str, list[tuple[str, Any]]]:
    """Sites by what a check may look at, with paved streets and paint near them."""
    design = laid.design
    painted = {p.segment.index for p in laid.paints if p.segment is not None}
    touched = {p.leg.intersection_id for p in laid.paints if p.leg is not None}
    legs = [
        leg
        for leg in design.legs()
        if leg.segment.paved and not leg.outside and leg.intersection_id in touched
    ]
    approaches = [leg for leg in legs if leg.inbound and not leg.segment.roundabout]
    blocks = [b for b in design.blocks if b.segment.index in painted and _open(b)]
    whole = [c for c in design.intersections if c.intersection_id in touched and not c.outside]
    return {
        "leg": [(leg.leg_id, leg) for leg in legs],
        "approach": [(leg.leg_id, leg) for leg in approaches],
        "block": [(b.segment.segment_id, b) for b in blocks],
        "intersection": [(c.intersection_id, c) for c in whole],
    }


def _open(block: Block) -> bool:
    """Whether a block takes markings, as the engine asks."""
    segment = block.segment
    return segment.paved and not segment.outside and (not block.inside or segment.roundabout)


def _told_as(row: str, params: AuditParams) -> Severity:
    """Severity of a breach of a row: as set, else by its strength."""
    for told, rows in (
        ("error", params.errors),
        ("warning", params.warnings),
        ("notice", params.notices),
    ):
        if row in rows:
            return told  # type: ignore[return-value]
    return severity(standard_rows()[row])


def _breach(check: Check, subject: tuple[Any, LaidOut], wrong: str, params: AuditParams) -> Breach:
    row = standard_rows()[check.row]
    name, kind, street, place = _who(*subject)
    memory = "; the row is from memory" if row["confidence"] == "memory" else ""
    value = f"{row['item']}: {row['value']} {row['unit'].strip('-')}".strip()
    return Breach(
        code=check.row,
        severity=_told_as(check.row, params),
        source=ROLE,
        feature_id=name,
        text=f"{kind} {wrong}; asked: {check.text} ({row['section']}, {value}{memory})",
        fix=check.fix or f"bring it to: {check.text}; a row your agency replaces: [audit] rows_off",
        geometry=place,
        section=row["section"],
        kind=kind,
        street=street,
        measured=wrong,
        asked=check.text,
    )


def _who(subject: Any, laid: LaidOut) -> tuple[str, str, str, Any]:
    """(id, what it is, street, place) of a marking or a site."""
    if isinstance(subject, Paint):
        street = subject.segment.name if subject.segment else ""
        return subject.marking_id, subject.kind, street, subject.shape
    if isinstance(subject, Intersection):
        area = subject.area
        place = None if area is None or shapely.is_empty(area) else area
        return subject.intersection_id, "intersection", subject.name, place
    segment = subject.segment
    if isinstance(subject, Leg):
        low, high = 0.0, min(segment.length_ft, max(1.0, subject.room_ft))
        if subject.at_end:
            low, high = segment.length_ft - high, segment.length_ft
        line = laid.design.axes.pieces(segment.index, low, high)[0]
        return subject.leg_id, "leg", segment.name, line
    return segment.segment_id, "block", segment.name, laid.design.axes.lines()[segment.index]


def _strange(paint: Paint) -> Finding:
    text = f"no row is known for a '{paint.kind}'; not judged"
    fix = "map its code to a kind of layer markings in [inputs.layout.values.kind]"
    name = paint.marking_id
    return Finding("layout_kind_unknown", "notice", ROLE, name, text, fix, paint.shape, rows=1)


def _not_shown(kinds: set[str]) -> Finding:
    text = f"the layout shows no {', '.join(sorted(kinds))}; whether any is missing was not asked"
    fix = 'set [audit] missing = "all" if it should show them'
    return Finding("layout_kinds_not_shown", "notice", ROLE, "", text, fix)
