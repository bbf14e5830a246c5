"""Units of measure: the closed table, quantities in answers, and conversion that never loosens a limit."""
