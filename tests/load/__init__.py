"""How fast it is, beside peers: `python -m tests.load`. A bench, not a test: it wants two quiet cores."""
