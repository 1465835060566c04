"""The commands, one a file, each named by its verb."""
