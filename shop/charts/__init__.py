"""Drawings of the bench as SVG, for page and paper alike."""
