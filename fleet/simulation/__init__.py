"""Invented fleets with known truth: demo data, calibration and study of policies.

Pure numpy: nothing here imports Django. ``simulate`` gives rows in the formats of the import files, and beside them
the truth that made them.
"""
