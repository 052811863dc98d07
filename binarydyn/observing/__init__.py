"""What observers will see and can plan: event predictions, light curves, campaigns, and the fit of event times."""
