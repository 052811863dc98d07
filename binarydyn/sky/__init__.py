"""What is seen from where: directions, outlines, events, brightness, and the kinematic fit of event times."""
