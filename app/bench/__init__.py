"""The bench log: the forks of a workshop, what was done to each, what is due; and values that look wrong to it."""
