"""Identifies the chassis on the bench."""
