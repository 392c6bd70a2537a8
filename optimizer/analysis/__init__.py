"""What a study found: results, picks, tables, comparisons, sensitivities."""
