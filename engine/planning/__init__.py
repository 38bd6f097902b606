"""The parts of the generic planner: the problem, the order of fixes, look-ahead, exact search."""
