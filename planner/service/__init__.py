"""The HTTP service: shows stored answers, never fetches or computes on a read."""
