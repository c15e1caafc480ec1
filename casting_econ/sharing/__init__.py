"""A study as one archive for a partner: packed, verified, and compared with another."""
