"""The diary: what was done, and what that changes. Pure: no clock, no file, no store."""
