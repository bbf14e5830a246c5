"""The bench log on the wire: bodies, answers and forms."""
