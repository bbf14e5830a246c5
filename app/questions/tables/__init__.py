"""Lists, single rows with their links, search, revisions and findings."""
