"""The tables that a scenario file may have, one file for each question."""
