"""The report of a pass, and its words."""
