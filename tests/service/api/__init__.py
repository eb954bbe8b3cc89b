"""The job and profile routes, through HTTP."""
