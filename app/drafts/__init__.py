"""Tables of a manual or a spreadsheet, read without guessing and turned into rows of the catalogue."""
