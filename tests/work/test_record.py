"""Work records: matched by id, counted once, kept apart from what has changed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from work.hand_markings import sections_of

from layoutgen.errors import InputError
from layoutgen.gis.schema import layer
from layoutgen.work.calibrate import proposals
from layoutgen.work.record import match, read_log, totals, with_status
from layoutgen.work.time import CrewParams

EMPTY = pd.DataFrame(columns=[column.name for column in layer("records").columns])


def sections(count: int = 6) -> Any:
    rows = [
        {
            "marking_id": f"m{k}",
            "area_sqft": 10.0 * (k + 1),
            "from_ft": 20.0 * k,
            "to_ft": 20.0 * k + 5,
        }
        for k in range(count)
    ]
    return sections_of(rows).assign(job_id=["j1"] * 3 + ["j2"] * (count - 3))


def log(folder: Path, text: str) -> pd.DataFrame:
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    return read_log(path)


def test_a_section_a_marking_and_a_job_are_understood(tmp_path: Path) -> None:
    rows = log(
        tmp_path,
        "Section_ID,marking_id,job_id,result,paint_gal,date\n"
        "m0/s1,,,painted,0.5,2030-05-06\n"
        ",m1,,failed,,2030-05-06\n"
        ",,j2,painted,3.0,2030-05-06\n",
    )
    made, findings = match(rows, sections(), EMPTY)
    assert findings == []
    assert made["section_id"].tolist() == ["m0/s1", "m1/s1", "m3/s1", "m4/s1", "m5/s1"]
    # three gallons over 40, 50 and 60 sq ft
    assert made["paint_gal"].tolist()[2:] == pytest.approx([0.8, 1.0, 1.2])
    assert made["record_id"].is_unique
    assert list(made.columns) == list(EMPTY.columns)


def test_wrong_rows_are_told_and_the_others_entered(tmp_path: Path) -> None:
    rows = log(
        tmp_path,
        "section_id,result,paint_gal\n"
        "m0/s1,painted,1\n"
        "m0/s1,painted,1\n"
        "m10/s1,painted,1\n"
        "m1/s1,panted,1\n"
        "m2/s1,painted,-1\n"
        ",painted,1\n",
    )
    made, findings = match(rows, sections(), EMPTY)
    assert made["section_id"].tolist() == ["m0/s1"]
    assert [(f.code, f.severity) for f in findings] == [
        ("record_twice", "warning"),
        ("record_unknown_id", "error"),
        ("record_unknown_result", "error"),
        ("record_bad_amount", "error"),
        ("record_without_id", "error"),
    ]
    assert "Did you mean 'm" in findings[1].text
    assert "row 4 of the log" in findings[1].text


def test_the_same_log_entered_again_changes_nothing(tmp_path: Path) -> None:
    rows = log(tmp_path, "section_id,result\nm0/s1,painted\nm1/s1,painted\n")
    first, _ = match(rows, sections(), EMPTY)
    again, findings = match(rows, sections(), first)
    assert again.empty
    assert {f.code for f in findings} == {"record_twice"}


def test_the_latest_record_gives_the_status(tmp_path: Path) -> None:
    rows = log(
        tmp_path,
        "section_id,result\nm0/s1,failed\nm0/s1,painted\n"
        "m1/s1,painted\nm1/s1,failed\nm2/s1,skipped\n",
    )
    made, _ = match(rows, sections(), EMPTY)
    out, findings = with_status(sections(), made)
    assert findings == []
    assert out["status"].tolist() == ["painted", "failed", *["open"] * 4]


def test_a_record_of_a_changed_section_no_longer_counts(tmp_path: Path) -> None:
    rows = log(tmp_path, "section_id,result\nm0/s1,painted\nm1/s1,painted\n")
    made, _ = match(rows, sections(), EMPTY)
    changed = sections().assign(area_sqft=lambda t: t["area_sqft"] * 1.2)
    out, findings = with_status(changed.iloc[1:], made)
    assert set(out["status"]) == {"open"}
    assert [f.code for f in findings] == ["record_outdated"] * 2


def test_used_is_held_against_planned(tmp_path: Path) -> None:
    text = "section_id,result,paint_gal,minutes\n" + "".join(
        f"m{k}/s1,painted,{0.2 * (k + 1):.3f},{2.0 + 0.1 * k:.2f}\n" for k in range(6)
    )
    own = sections()
    made, _ = match(log(tmp_path, text), own, EMPTY)
    (row,) = totals(made, own).to_dict("records")
    assert row["paint_gal_used"] == pytest.approx(0.2 * 21)
    assert row["paint_gal_planned"] == pytest.approx(own["paint_gal"].sum(), abs=1e-3)
    assert row["beads_lb_planned"] == 0.0  # nothing was told of beads
    found = {one.key: one for one in proposals(made, own, CrewParams(), {"waterborne": 15.0})}
    # 0.2 gal on 10 sq ft: 0.02 gal/sq ft x 1604.17
    assert found["materials.waterborne.film"].median == pytest.approx(32.08, abs=0.05)
    spray = found["crew.spray_sqft_per_minute"]
    assert spray.low <= spray.median <= spray.high
    assert spray.count == 6


def test_few_records_propose_nothing(tmp_path: Path) -> None:
    text = "section_id,result,minutes\nm0/s1,painted,3\nm1/s1,painted,4\n"
    made, _ = match(log(tmp_path, text), sections(), EMPTY)
    assert proposals(made, sections(), CrewParams(), {}) == []


def test_geojson_is_read_too(tmp_path: Path) -> None:
    path = tmp_path / "log.geojson"
    path.write_text(
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": null,'
        ' "properties": {"section_id": "m0/s1", "result": "painted", "paint_gal": 0.25}}]}',
        encoding="utf-8",
    )
    made, findings = match(read_log(path), sections(), EMPTY)
    assert findings == []
    assert made["paint_gal"].tolist() == [0.25]


@pytest.mark.parametrize(
    "text, wanted", [("a,result\n1,painted\n", "section_id"), ("section_id\nm0/s1\n", "result")]
)
def test_a_log_without_ids_or_results_is_refused(tmp_path: Path, text: str, wanted: str) -> None:
    with pytest.raises(InputError, match=wanted):
        log(tmp_path, text)


def test_a_missing_log_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_log(tmp_path / "none.csv")


def test_a_piece_is_named_by_its_number_on_the_card(tmp_path: Path) -> None:
    own = sections().assign(sequence=[1, 2, 3, 1, 2, 3])
    rows = log(tmp_path, "job_id,no,result,minutes\nj2,2,painted,3\nj2,9,painted,3\n")
    made, findings = match(rows, own, EMPTY)
    assert made["section_id"].tolist() == ["m4/s1"]
    assert made["minutes"].tolist() == [3.0]
    assert [f.code for f in findings] == ["record_unknown_id"]


def test_a_job_entered_before_is_a_repeat_also_after_the_next_route(tmp_path: Path) -> None:
    text = "job_id,result,date,minutes\nj1,painted,2030-05-06,20\nj2,failed,2030-05-06,\n"
    rows = log(tmp_path, text)
    first, _ = match(rows, sections(), EMPTY)
    assert first["minutes"].isna().all()  # cones and waits of a whole job say nothing of painting
    routed = sections().assign(job_id=["", "", "", "j2", "j2", "j2"])
    again, findings = match(rows, routed, first)
    assert again.empty
    assert [f.code for f in findings] == ["record_twice", "record_twice"]
