"""Tools for operators: backup and restore of both databases, and a check of the installation."""
