"""Placed figures as polygons in feet: arrows, the bicycle symbol, words."""

from layoutgen.markings.symbols.catalog import Figure, figure, figure_names, resized
from layoutgen.markings.symbols.lettering import word

__all__ = ["Figure", "figure", "figure_names", "resized", "word"]
