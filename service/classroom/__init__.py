"""The classroom: where machines stand in it, lessons with computed answers, exercises that are scored."""
