"""The page's packed arrays read back in Python, written independently of the packing."""

import base64

import numpy as np


def unpacked(facts):
    content = base64.b64decode(facts["data"])
    return np.frombuffer(content, dtype="<" + facts["type"]).reshape(facts["shape"])


def unpacked_signals(facts):
    steps = unpacked(facts).astype(float)
    steps[steps == 65535] = np.nan
    return np.array(facts["low"])[:, None] + steps * np.array(facts["step"])[:, None]
