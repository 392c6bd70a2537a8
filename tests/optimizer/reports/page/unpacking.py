"""The page's packed arrays read back in Python, written independently of the packing."""

import base64

import numpy as np


def unpacked(told):
    content = base64.b64decode(told["data"])
    return np.frombuffer(content, dtype="<" + told["type"]).reshape(told["shape"])


def unpacked_signals(told):
    steps = unpacked(told).astype(float)
    steps[steps == 65535] = np.nan
    return np.array(told["low"])[:, None] + steps * np.array(told["step"])[:, None]
