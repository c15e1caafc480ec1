"""One order afterwards: what it took, what it paid, and what it teaches the study."""
