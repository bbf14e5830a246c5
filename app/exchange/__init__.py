"""Import and export of the catalogue: Data Packages read, checked, loaded and written."""
