"""How the figures of a source are compared."""

import pytest

__all__ = ["printed"]


def printed(text):
    """A number as printed: right to half a unit of its last digit."""
    figures = text.replace(",", "")
    return pytest.approx(float(figures), rel=0, abs=0.500001 * 10.0 ** -len(figures.partition(".")[2]))
