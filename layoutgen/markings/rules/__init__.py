"""One file per marking; discovery is a directory scan."""
