"""Requests that nobody would send, by the thousand: none may be answered with a fault of our own."""
