"""How things stand on the disk: sound files, typed files, JSON, and writing that loses nothing."""
