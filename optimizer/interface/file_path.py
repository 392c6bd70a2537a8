"""What a caller may name a file or a folder with."""

import os
from typing import TypeAlias

FilePath: TypeAlias = str | os.PathLike[str]
