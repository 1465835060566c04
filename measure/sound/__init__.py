"""Playing and recording at once: the one seam to devices, real or simulated.

`path` is the seam; `portaudio` and `simulation` are its two kinds; `watch` starts one and stops it
on a key, a clipped input, gaps; `sound_lock` lets one at a time sound. All sound goes through
`emitter`. `devices` says what is there, `selection` what was asked, `stimulus` what is played.
"""
