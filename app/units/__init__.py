"""Units of measure: the closed table, quantities as answers carry them, conversion that never loosens a limit."""
