"""A document as plain data, and its two writers: a printable page and a PDF. Knows nothing of jobs."""
