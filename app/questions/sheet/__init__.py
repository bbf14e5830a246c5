"""Fits, the sheet of one configuration, what it lacks, and what changed on it."""
