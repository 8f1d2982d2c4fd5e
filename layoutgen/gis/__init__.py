"""All file and CRS work: schema, working plane, reading, writing."""
