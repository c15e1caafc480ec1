"""One module a page of the report: what it works out, its tables, its sentences."""
