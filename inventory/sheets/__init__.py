"""Reading real spreadsheets: every fault named, memory bounded, nothing evaluated.

An importer opens a file with `read_sheet`, says what it wants as `Column`s, and reads `Record`s off a
`Table`.
"""

from inventory.sheets.columns import Column, match_columns
from inventory.sheets.reading import read_sheet
from inventory.sheets.sheet import Row, Sheet, UnreadableSheet
from inventory.sheets.table import FaultList, FaultySheet, Record, Table, find_duplicates

__all__ = [
    "Column",
    "FaultList",
    "FaultySheet",
    "Record",
    "Row",
    "Sheet",
    "Table",
    "UnreadableSheet",
    "find_duplicates",
    "match_columns",
    "read_sheet",
]
