"""Which chassis is on the bench."""
