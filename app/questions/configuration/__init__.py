"""Configurations: the ones that a request's parameters leave open, and the statements that apply to them."""
