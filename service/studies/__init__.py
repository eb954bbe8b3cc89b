"""Studies: a file that says what is varied, run in parts that are kept, on this machine or a cluster."""
