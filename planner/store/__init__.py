"""What is kept: what each pass left, forecasts, the diary, warnings and messages; it knows nothing of their content.

Importing this package loads nothing: reading commands go through `planner.store.reading`, which knows no
database library.
"""
