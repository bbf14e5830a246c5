"""Keys, scopes, audit and rate state: the second database, whose rows can be erased."""
