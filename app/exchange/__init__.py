"""How the catalogue comes in and goes out: Data Packages read, checked, loaded and written."""
