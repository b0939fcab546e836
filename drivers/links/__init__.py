"""One file per outside world: each link module is the only importer of its I/O library."""
