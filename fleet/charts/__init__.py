"""Drawings made on the server as inline SVG: one code for page, print and PDF.

Nothing here needs Django or a database: a chart is a pure function from a frozen
dataclass and the words it may use to a string. ``words.py`` is the one module that
asks gettext for those words.
"""
