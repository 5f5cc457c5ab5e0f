"""Open payload formats, one file each: bytes in, records out."""
