"""The commands: one typed function each, its options in the signature, its help in the docstring.

What takes long to load is imported in the function's body, inside `optimizer.cli.loading`. So the
help of every command, and a mistyped option, answer at once.
"""
