"""Tests of the verification itself."""
