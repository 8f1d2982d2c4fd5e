"""Edits by hand in the GeoPackage: markings deleted, and what is to be done with the others."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd

from layoutgen.errors import Finding
from layoutgen.gis import write
from layoutgen.work.quantities import KEEP

#: what may be set for a marking by hand
ACTIONS = ("new", "repaint", KEEP)


def as_stored(
    markings: gpd.GeoDataFrame, stored: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Markings whose ids are in the file, with the file's `action`."""
    ids = markings["marking_id"]
    kept = markings[ids.isin(stored["marking_id"])].reset_index(drop=True)
    kept["action"], wrong = _actions(kept["marking_id"], stored)
    unknown = sorted(set(stored["marking_id"].dropna()) - set(ids))
    text = "the marking is in the file, but present inputs and settings do not ask for it"
    fix = "run `layoutgen generate` again"
    outdated = [Finding("marking_outdated", "warning", "markings", i, text, fix) for i in unknown]
    return kept, outdated + wrong


def _actions(ids: pd.Series[str], stored: pd.DataFrame) -> tuple[pd.Series[str], list[Finding]]:
    """What the file says is to be done with each marking; a word of no meaning is told."""
    known = stored.drop_duplicates("marking_id").set_index("marking_id")["action"]
    wrong = known[~known.isin(ACTIONS) & known.notna()]
    told = [_unknown_action(str(i), str(word)) for i, word in wrong.items()]
    return ids.map(known.where(known.isin(ACTIONS))).astype(object).fillna("new"), told


def with_kept_actions(
    markings: gpd.GeoDataFrame, output: Path
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Markings with the actions set by hand in the file that is about to be replaced."""
    if not (output.is_file() and write.has_layer(output, "markings")):
        return markings, []
    stored = write.read_layer(output, "markings")
    action, told = _actions(markings["marking_id"], stored)
    changed = int((action != markings["action"]).sum())
    if changed:
        text = f"{changed} markings keep the action that was set by hand in the file before"
        fix = "set them to new there, or remove the file, to begin afresh"
        told.append(Finding("action_kept", "notice", "markings", "", text, fix))
    return markings.assign(action=action), told


def _unknown_action(marking_id: str, word: str) -> Finding:
    text = f"action {word!r} is read as new"
    fix = f"write one of {', '.join(ACTIONS)}"
    return Finding("action_unknown", "warning", "markings", marking_id, text, fix)
