"""What a terminal shows and takes, for commands alone: changing lines, screens, typed options."""
