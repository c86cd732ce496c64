"""Mutation: each formula and decision is spoilt on purpose, one place at a time, and a test must notice.

Run by `python -m tests.mutants`, not by the plain suite.
"""
