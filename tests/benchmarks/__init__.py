"""Measurements of speed and memory: run by hand or by `.ci/long`, never by the test suite.

Each module here other than this package's own two is one benchmark. Its `main()` is called with an empty,
migrated database of its own (a file on SQLite) and returns a list of `Measurement`.
"""
