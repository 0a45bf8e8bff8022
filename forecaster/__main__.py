"""``python -m forecaster``: the same as the command ``forecaster``."""

from forecaster.cli import main

main()
