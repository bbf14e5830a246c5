"""Search: names, part numbers and ids of every table, and the figures of a fork at a place."""
