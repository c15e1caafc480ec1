"""Papermill over the notebooks, results, report and manifest."""

import ctypes
import gc
import os
import sys
from contextlib import suppress

# grammars of web addresses and durations, by which notebooks are not checked; the first takes more than a second to build
sys.modules |= dict.fromkeys({"rfc3987_syntax", "rfc3986_validator", "isoduration"} - {*sys.modules})

# sums of linear algebra depend on their number of threads in the last digits
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"), "1")
# notebooks at a time: as many as processors, up to four, and one that works while another's kernel starts or its notebook is written
WORKERS = min(4, os.cpu_count() or 2) + 1

_TRIM, _TOP, _PAGES, _ARENAS = -1, -2, -3, -8  # options of mallopt in the GNU C library


def keep_memory() -> None:
    """Let this process hold on to memory that it will use again, at no change of results: draws take about half the time."""
    # modules, inputs and draws stay, and looking through them for rubbish takes a tenth of a run
    gc.set_threshold(50_000, 20, 20)
    # else it gives back each array to the system, which hands out cleared pages for the next; elsewhere nothing answers to the name
    with suppress(AttributeError, OSError, TypeError):
        for option, value in ((_TRIM, 256 << 20), (_TOP, 16 << 20), (_PAGES, 32 << 20), (_ARENAS, 2)):
            ctypes.CDLL(None).mallopt(option, value)
