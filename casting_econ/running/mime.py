"""Kind of output that a notebook leaves for a sweep to collect."""

RECORD_MIME = "application/vnd.casting-econ.record+json"
