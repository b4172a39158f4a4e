"""Every kind of part, by family: what it is electrically, and beside it how it fails."""
