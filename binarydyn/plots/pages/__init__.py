"""Whole figures, one page each, saved with the caution."""
