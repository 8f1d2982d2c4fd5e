"""Pavement words: any text of the alphabet in `letters.toml`, to an exact height and width.

Letters are skeletons, stretched to their size and then stroked, so a tall narrow word and a wide
one have strokes of constant width. This is not a stretched font.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from itertools import pairwise

import numpy as np
import shapely
from shapely.affinity import translate

from layoutgen.geometry import outline
from layoutgen.markings.symbols.catalog import LETTERS_FILE, Figure

LEAST_WIDTH_STROKES = 2.2
"""Narrowest letter, in strokes: two uprights and daylight between them. Our choice."""

ANCHOR = "middle of the overall width, at the foot of the letters"


@dataclass(frozen=True)
class Letter:
    """Skeleton of one letter. `width_in` belongs to the alphabet's height; None: one stroke."""

    strokes: tuple[str, ...]
    width_in: float | None


@dataclass(frozen=True)
class Alphabet:
    """All letters, and the sizes (inches) of a word that is `height_in` high."""

    height_in: float
    stroke_in: float
    gap_in: float
    space_in: float
    sources: tuple[str, ...]
    letters: Mapping[str, Letter]


@dataclass(frozen=True)
class _Line:
    """A text set in a line: letters in order, left edges and widths in feet, from x = 0."""

    letters: tuple[str, ...]
    left_ft: tuple[float, ...]
    width_ft: tuple[float, ...]


@cache
def word(
    text: str,
    *,
    height_ft: float,
    width_ft: float | None = None,
    stroke_ft: float | None = None,
) -> Figure:
    """One line of letters.

    Letters are `height_ft` high. Their natural widths, gaps and stroke are in proportion to the
    height; `width_ft` stretches letters and gaps (never the stroke) to that overall width, and
    `stroke_ft` replaces the stroke. Height and overall width are exact to 1e-6 ft.

    Raises ValueError for a letter that is not in the alphabet, stray spaces, sizes not above
    zero, or a width too small for the stroke.
    """
    alphabet = read_alphabet()
    _check_text(text, alphabet)
    stroke = alphabet.stroke_in / alphabet.height_in * height_ft if stroke_ft is None else stroke_ft
    _check_sizes(text, height_ft, stroke)
    line = _set_line(text, height_ft / alphabet.height_in, stroke, width_ft)
    total_ft = line.left_ft[-1] + line.width_ft[-1]
    return Figure(
        name=text,
        polygon=_paint(line, height_ft, stroke),
        length_ft=height_ft,
        width_ft=total_ft,
        breaks=(),
        sources=alphabet.sources,
        anchor=ANCHOR,
        side_breaks=_side_breaks(line, total_ft),
    )


@cache
def read_alphabet() -> Alphabet:
    """The alphabet of `letters.toml`."""
    text = (files(__package__) / LETTERS_FILE).read_text(encoding="utf-8")
    tables = tomllib.loads(text)
    sizes = tables["alphabet"]
    letters = {
        name: Letter(strokes=tuple(table["strokes"]), width_in=table.get("width_in"))
        for name, table in tables["letters"].items()
    }
    return Alphabet(
        height_in=sizes["height_in"],
        stroke_in=sizes["stroke_in"],
        gap_in=sizes["gap_in"],
        space_in=sizes["space_in"],
        sources=tuple(sizes["sources"]),
        letters=letters,
    )


def _check_text(text: str, alphabet: Alphabet) -> None:
    if not text or text != " ".join(text.split()):
        raise ValueError(f"word '{text}': needs letters, with single spaces between them only")
    unknown = [letter for letter in text if letter != " " and letter not in alphabet.letters]
    if unknown:
        near = get_close_matches(unknown[0].upper(), alphabet.letters, n=1)
        advice = f"did you mean '{near[0]}'? " if near else ""
        known = "".join(sorted(alphabet.letters))
        raise ValueError(f"word '{text}': no letter '{unknown[0]}'; {advice}there are {known}")


def _check_sizes(text: str, height_ft: float, stroke_ft: float) -> None:
    if not height_ft > 0:
        raise ValueError(f"word '{text}': height_ft must be above 0, got {height_ft}")
    if not 0 < stroke_ft < height_ft / 5:
        raise ValueError(
            f"word '{text}': stroke_ft must be above 0 and below a fifth of the height, "
            f"{height_ft / 5:.3f}, got {stroke_ft:.3f}"
        )


def _set_line(text: str, ft_per_in: float, stroke_ft: float, width_ft: float | None) -> _Line:
    """Widths and positions of the letters; all but one-stroke letters give way to `width_ft`."""
    alphabet = read_alphabet()
    letters = tuple(text.replace(" ", ""))
    natural = [alphabet.letters[letter].width_in for letter in letters]
    elastic = np.array([(inches or 0.0) * ft_per_in for inches in natural])
    fixed = np.array([stroke_ft if inches is None else 0.0 for inches in natural])
    gaps = _gaps_ft(text, ft_per_in)
    give = 1.0
    if width_ft is not None:
        give = _give(text, width_ft - fixed.sum(), elastic.sum() + gaps.sum())
    widths = fixed + elastic * give
    _check_widths(text, widths[elastic > 0], stroke_ft)
    left = np.concatenate([[0.0], np.cumsum(widths[:-1] + gaps * give)])
    return _Line(letters, tuple(left.tolist()), tuple(widths.tolist()))


def _gaps_ft(text: str, ft_per_in: float) -> outline.Floats:
    """Clear distance after each letter but the last."""
    alphabet = read_alphabet()
    inches = [
        alphabet.space_in if following == " " else alphabet.gap_in
        for letter, following in pairwise(text)
        if letter != " "
    ]
    return np.array(inches, dtype=np.float64) * ft_per_in


def _give(text: str, room_ft: float, natural_ft: float) -> float:
    """Factor that fits letters and gaps of `natural_ft` into `room_ft`."""
    if natural_ft == 0:
        raise ValueError(f"word '{text}': is one stroke wide, leave width_ft out")
    if not room_ft > 0:
        raise ValueError(f"word '{text}': width_ft leaves no room for gaps between its letters")
    return room_ft / natural_ft


def _check_widths(text: str, widths: outline.Floats, stroke_ft: float) -> None:
    least_ft = LEAST_WIDTH_STROKES * stroke_ft
    if widths.size and widths.min() < least_ft:
        raise ValueError(
            f"word '{text}': its narrowest letter would be {widths.min():.3f} ft wide, a stroke "
            f"of {stroke_ft:.3f} ft needs {least_ft:.3f} ft; widen the word or thin the stroke"
        )


def _paint(line: _Line, height_ft: float, stroke_ft: float) -> shapely.MultiPolygon:
    """The letters of a set line, the middle of the line at x = 0."""
    middle_ft = (line.left_ft[-1] + line.width_ft[-1]) / 2
    painted = [
        translate(_letter(letter, width_ft, height_ft, stroke_ft), left_ft - middle_ft)
        for letter, left_ft, width_ft in zip(line.letters, line.left_ft, line.width_ft, strict=True)
    ]
    return outline.tidy(outline.as_multipolygon(shapely.union_all(painted)))


@cache
def _letter(
    letter: str, width_ft: float, height_ft: float, stroke_ft: float
) -> shapely.MultiPolygon:
    """One letter with its lower left corner at (0, 0)."""
    box = (0.0, 0.0, width_ft, height_ft)
    scale, shift_ft = (width_ft - stroke_ft, height_ft - stroke_ft), (stroke_ft / 2,) * 2
    pieces = [
        outline.run_on(piece, box, stroke_ft=stroke_ft)
        for path in read_alphabet().letters[letter].strokes
        for piece in outline.trace(path, scale=scale, shift_ft=shift_ft)
    ]
    return outline.cut_to(outline.stroke(pieces, stroke_ft), box)


def _side_breaks(line: _Line, total_ft: float) -> tuple[float, ...]:
    """x of the middle of each gap between letters."""
    right = np.array(line.left_ft[:-1]) + np.array(line.width_ft[:-1])
    return tuple(((right + np.array(line.left_ft[1:])) / 2 - total_ft / 2).tolist())
