"""Play and record by plain sounddevice, in a process that may hang without harm.

Run by path: ``python tests/rig/play_and_record.py OUTPUT.npy INPUT.npy RATE``, both arrays
of shape (frames, 2). What was never delivered is NaN.
"""

from __future__ import annotations

import sys

import numpy as np
import sounddevice as sd

played = np.load(sys.argv[1]).astype(np.float32)
recorded = np.full_like(played, np.nan)
rate_hz = int(sys.argv[3])
sd.playrec(played, rate_hz, out=recorded, device=("roombox", "roombox"), blocking=True)
np.save(sys.argv[2], recorded)
