"""From the first quiet noise to a folder that keeps the take.

`take` is the whole of it: `level_check`, then `run`, which plays, records by `streamed_wav` and
plays disturbed passes again; `folder` holds what is written, `facts` and `description` what
``take.toml`` says, `stored` reads one back. `sheet` is the text beside a sweep, `conditions`
what is known around a recording.
"""
