"""All kinds of cases by name: each a function of its number and a folder that gives the words of a command line."""

from __future__ import annotations

import mesh_files
import options
import results
import scenarios
import tables

CASES = {
    "scenario": scenarios.case,
    "table": tables.case,
    "option": options.case,
    "mesh": mesh_files.case,
    "result": results.case,
}
