"""The front door: what is let in, what is refused, and how a refusal reads."""
