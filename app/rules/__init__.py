"""Consistency rules, the shapes they see, and the engine that judges. Reads rows and writes nothing."""
