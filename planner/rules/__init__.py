"""What a job is and what it needs: kinds of need, spans of hours, results. Knows no door, clock or file."""
