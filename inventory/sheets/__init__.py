"""Reading real spreadsheets: every fault named with line, column and value, memory bounded, nothing evaluated."""
