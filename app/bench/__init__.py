"""The bench log: a workshop's forks, the jobs done on each, what is due, and flags on values that look wrong."""
