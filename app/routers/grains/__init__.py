"""Pages of weighing, shelf, labels and test pieces."""
