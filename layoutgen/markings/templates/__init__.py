"""One file per shape; a template turns placements into polygons in bulk."""
