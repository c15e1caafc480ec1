"""Write the corpus of ugly files: one folder a case, with what must come out beside it.

    python tests/ugly/make.py

All data is invented. What must come out was worked out by hand from what a maker would mean, never by running the reader.
"""

import shutil

import cells  # noqa: F401  cases are put on the list as they are read
import tables  # noqa: F401
from build import CASES, HERE, write

if __name__ == "__main__":
    for old in HERE.iterdir():
        if old.is_dir() and (old / "expected.json").is_file():
            shutil.rmtree(old)
    for each in CASES:
        write(*each)
