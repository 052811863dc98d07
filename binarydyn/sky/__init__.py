"""What is seen from where: directions, outlines, events, brightness."""
