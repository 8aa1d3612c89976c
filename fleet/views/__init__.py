"""One module per screen: parse, authorise through ``fleet.access``, call one thing, render."""
