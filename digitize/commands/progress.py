"""Progress on standard error, so that standard output is the product and nothing else."""

import sys
from collections.abc import Callable


def progress_printer(quiet: bool) -> Callable[[str], None]:
    """What is told of the work: a line at once, or nothing if quiet."""
    if quiet:
        return lambda words: None
    return lambda words: print(words, file=sys.stderr, flush=True)
