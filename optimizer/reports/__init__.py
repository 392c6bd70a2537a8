"""What is written for a person or a bench: figures, exports, plans, pages."""
