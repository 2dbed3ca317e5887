"""Forms: they read what was typed; services decide."""
