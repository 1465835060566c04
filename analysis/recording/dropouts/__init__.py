"""Blocks of samples that a recorder lost, repeated or zeroed.

`block` says what one is and repairs it. It is found as a stretch of zeros (`zero_blocks`), inside a
pass by the other pass of its side (`block_in_pass`, by a `delay_step`), or at the top of a sweep,
where nothing shows it and the bands are left out (`sweep_end`). `analysis.recording.alignment` goes
through all of them.
"""
