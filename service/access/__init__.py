"""Who may do what: tokens and sessions, roles, and the one dependency that every kind of route shares."""
