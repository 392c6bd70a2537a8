"""What a study is, and how its files are read and checked."""
