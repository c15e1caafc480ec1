"""Papermill over the notebooks, results, report and manifest."""

import os
import sys

# grammars of web addresses and durations, by which notebooks are not checked; the first takes more than a second to build
sys.modules |= dict.fromkeys({"rfc3987_syntax", "rfc3986_validator", "isoduration"} - {*sys.modules})

# how seldom a run looks for rubbish: modules, inputs and draws stay, and looking through them takes a tenth of it
SELDOM = (50_000, 20, 20)
# sums of linear algebra depend on their number of threads in the last digits
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"), "1")
# notebooks at a time: as many as processors, up to four, and one that works while another's kernel starts or its notebook is written
WORKERS = min(4, os.cpu_count() or 2) + 1
