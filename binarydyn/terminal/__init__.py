"""How commands speak to a terminal: tables, progress, interruption."""
