"""Papermill over the notebooks, results, report and manifest."""
