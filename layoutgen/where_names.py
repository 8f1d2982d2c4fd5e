"""What `where` of a case may ask for, and which words its attributes know."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from layoutgen.config import Raw, nearest
from layoutgen.errors import ConfigError
from layoutgen.gis.roles import SETTINGS, STREET_CLASSES
from layoutgen.markings.marking import Rule
from layoutgen.street.design import BIKE_KINDS

#: what `where` of a case may ask for
WHERE_NAMES = (
    *("segment_id", "name", "street_class", "speed_mph", "oneway", "width_ft", "length_ft"),
    *("lanes", "parking", "bike_lane", "bike_facility", "center_turn_lane", "divided"),
    *("roundabout", "leg_id", "intersection_id", "control", "intersection_control", "legs"),
    *("lanes_in", "lanes_out", "school", "circular", "existing", "compass", "district"),
    *("rail_crossings", "speed_humps", "lane_use", "curb_zones", "adt", "setting"),
    "bike_lane_in",
)


#: attributes that only legs have
_OF_LEGS = (
    *("leg_id", "intersection_id", "control", "intersection_control", "legs", "lanes_in"),
    *("lanes_out", "school", "circular", "existing", "compass", "bike_lane_in"),
)
#: attributes that whole intersections have
_OF_INTERSECTIONS = (
    *("intersection_id", "name", "intersection_control", "legs", "school", "circular", "district"),
)
#: attributes with a closed list of values
_WORDS: Mapping[str, tuple[str, ...]] = {
    "street_class": STREET_CLASSES,
    "oneway": ("both", "forward", "backward"),
    "control": ("signal", "stop", "yield", "none"),
    "intersection_control": ("signal", "all_way_stop", "two_way_stop", "yield", "none"),
    "bike_facility": BIKE_KINDS,
    "setting": SETTINGS,
    "compass": ("N", "NE", "E", "SE", "S", "SW", "W", "NW"),
}


def check_where(case: Mapping[str, Any], rule: Rule, raw: Raw, path: Any) -> None:
    """Refuse a `where` that no site of the rule could ever match.

    Raises:
        ConfigError: an attribute or value that does not exist, or not for this rule.
    """
    place = raw.place(path)
    if not isinstance(case.get("where"), dict):
        raise ConfigError(f"{place}: rules.{path[1]}.cases[{path[3]}]: needs a table `where`.")
    for name, wanted in case["where"].items():
        if name not in WHERE_NAMES:
            text = nearest(name, WHERE_NAMES)
            raise ConfigError(f"{place}: where.{name}: no such attribute.{text}")
        if rule.on == "block" and name in _OF_LEGS:
            raise ConfigError(
                f"{place}: where.{name}: rule {path[1]} looks at blocks, which have no {name}; "
                "only legs of intersections do. Ask for an attribute of the street."
            )
        if rule.on == "intersection" and name not in _OF_INTERSECTIONS:
            raise ConfigError(
                f"{place}: where.{name}: rule {path[1]} looks at whole intersections, which have "
                f"no {name}. Ask for one of {', '.join(_OF_INTERSECTIONS)}."
            )
        _check_words(name, wanted, place)


def _check_words(name: str, wanted: Any, place: str) -> None:
    """A word that the attribute can never have is a slip of the pen."""
    for one in wanted if isinstance(wanted, list) else [wanted]:
        word = str(one).removeprefix("not ").strip()
        if name in _WORDS and word not in _WORDS[name]:
            text = nearest(word, _WORDS[name])
            allowed = ", ".join(_WORDS[name])
            raise ConfigError(f"{place}: where.{name}: no such value '{word}'.{text} ({allowed})")
