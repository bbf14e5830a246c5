"""Rows of the catalogue entered in forms by a signed-in editor: from a gap, to correct a figure, or to add a fork."""
