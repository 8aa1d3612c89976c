"""The portal in a real browser: the whole demo, served as ``make demo`` serves it."""
