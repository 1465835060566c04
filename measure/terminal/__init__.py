"""What a terminal shows and takes: lines that change, screens, numbers as options."""
