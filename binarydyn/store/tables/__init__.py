"""The table of a sweep on its way: blocks, rows, joined files, and why members did not end well."""
