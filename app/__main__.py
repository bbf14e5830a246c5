"""`python -m app` is `legwork`."""

from app.cli import main

main()
