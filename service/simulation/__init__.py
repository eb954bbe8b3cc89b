"""A simulated machine: a described dig becomes true poses, and these what sensors say that are never quite right."""
