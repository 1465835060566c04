"""``python -m measure``: the same as the command ``apexline``."""

from measure.cli import main

main()
