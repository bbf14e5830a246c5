"""Keys, scopes, sign-ins and the audit log, in the shop database, whose rows can be erased."""
