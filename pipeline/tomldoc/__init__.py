"""TOML documents that people write: read with the line of every key, and held against our schemas.

`source` reads; `locate` and `malformed` find lines; `problems` has the words that a person is told.
"""
