"""What a good keeper decides, case by case, asked of the answers that everybody gets."""
