"""The catalogue: tables of entities and statements, scopes, revisions, queries, and the only code that writes them."""
