"""Pages to print or to read anywhere: of one take, of two groups, of a pair's history."""
