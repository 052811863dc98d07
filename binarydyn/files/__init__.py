"""How a file is whole or absent: drafts, seals, CSV tables."""
