"""What a user describes: board, rider, course, profile, each number declared once."""
