"""What happened: the full motion held against measured event times and light."""
