"""Models, evidence and studies for a workshop that casts pieces by hand."""

__all__ = ["__version__"]

__version__ = "0.1.0"
