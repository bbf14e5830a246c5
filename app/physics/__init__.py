"""Pure functions in SI floats, standard library only: springs, load, bolts, fluids, frame geometry, atmosphere.

Nothing here reads a file, a database or a clock. A name ends in its unit. Input outside the stated validity raises
ValueError with a sentence that names the fault; nothing is clamped silently.
"""
