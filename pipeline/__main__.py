"""Let `python -m pipeline` do what the command `platework` does."""

from pipeline.cli import main

main()
