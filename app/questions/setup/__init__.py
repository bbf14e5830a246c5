"""The start pressure or coil for a rider, and how the spring then behaves."""
