"""Threads of the libraries. OpenCV's, on whole pictures, are worth all cores. BLAS gets arrays so small that its
threads spend their time waiting for one another, and wait by spinning on the cores that OpenCV's would work on: it
gets one.
"""

import os

_OF_BLAS = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")


def one_thread_for_blas() -> None:
    """For this process, if numpy is not loaded yet, and for all that it starts. What the user has set stays."""
    for name in _OF_BLAS:
        os.environ.setdefault(name, "1")


def usable_cores() -> int:
    """Cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
