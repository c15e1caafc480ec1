"""Papermill over the notebooks, results, report and manifest."""

import gc
import sys

gc.set_threshold(50_000, 20, 20)  # modules, inputs and draws stay: looking through them for rubbish takes a tenth of a run
# a grammar of web addresses, by which notebooks are not checked and which takes more than a second to build
sys.modules.setdefault("rfc3987_syntax", None)

# sums of linear algebra depend on their number of threads in the last digits
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"), "1")
