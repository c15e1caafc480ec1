"""From any sensible file in `records/` to typed frames, with every decision named.

`files` turns bytes into rows of cells, `rows` finds the header and sets aside what is no event, `columns` decides date order
and decimal mark from whole columns, `cells` reads one cell, `table` puts them together for one file or sheet, and `join`
makes one log of several. `logs` lists the logs and what their columns hold.
"""

from .files import record_files
from .join import FileReading, Reading, place_of, read_logs
from .logs import LOGS
