"""What weighted draws say: shapes of their motions, intervals, combinations that stay open, doubts."""
