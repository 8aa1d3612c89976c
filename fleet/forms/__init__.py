"""Forms of the screens: what people type, checked and worded; no decisions."""
