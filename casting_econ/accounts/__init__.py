"""Totals of the logs by tax year."""
