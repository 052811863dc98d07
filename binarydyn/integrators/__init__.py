"""How a step is made: methods and their tables, step control, runs of one or of many side by side."""
