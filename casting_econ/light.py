"""SciPy without the notes that it writes into its own help while it is loaded: a quarter of a second of every command."""

from collections import defaultdict
from contextlib import suppress

with suppress(ImportError):  # a part of SciPy that another version may lack; it then takes its time
    from scipy._lib import _docscrape

    class _AsWritten(_docscrape.FunctionDoc):
        """Help of a function as its author wrote it, to which nothing can be added."""

        def __init__(self, function, *_, **__) -> None:
            self.text, self._parsed_data = function.__doc__ or "", defaultdict(list)

        def __str__(self) -> str:
            return "\n" + self.text

    _docscrape.FunctionDoc = _AsWritten
