"""What is known: tables of entities and statements, scopes, revisions, queries, and the one code that writes."""
