"""What builders have: sensors on a bus or in a log, read as readings, and a client that feeds them to the service."""
