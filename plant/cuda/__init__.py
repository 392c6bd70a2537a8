"""One lane's Python functions as CUDA C++, and their launch on GPUs; nothing of boards or rides."""
