"""Speed next to comparable servers: `python -m tests.load`. A benchmark, not a test: it needs two idle cores."""
