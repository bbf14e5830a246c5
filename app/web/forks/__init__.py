"""The bench log in HTTP: bodies, answers and forms."""
