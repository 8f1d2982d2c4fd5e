"""The street as designed: network, cross-section, intersection."""
