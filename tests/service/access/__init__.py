"""Who is let in, and what for."""
