"""Files, texts, hashing, messages and progress: nothing of boards or searches."""
