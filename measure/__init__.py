"""Makes the stimulus, reads and checks files, keeps results, and holds the commands.

``stimulus``, ``safety``, ``sheet``
    the sweep programme as a file, within limits, with the sheet that describes it
``audio_files``, ``microphone``, ``room_file``, ``reading_file``
    what comes from and goes to files; ``audio_files`` alone knows the sound-file library
``sound``, ``portaudio``, ``devices``, ``simulation``
    the seam for playing and recording, real and simulated; ``portaudio`` alone knows the
    sound library, and imports it late
``safety``, ``treble_ledger``, ``emitter``, ``caution_consent``
    what everything that sounds must pass
``watch``, ``level_check``, ``take_run``, ``take``, ``take_folder``
    a take: what stops it, how loud, its passes, its files
``output``, ``toml_file``, ``errors``
    rules that all commands share
``cli``, ``commands``
    the doors; each command is a thin file of its own

`measure` may import `analysis`, never the reverse. Heavy imports happen where used.
"""
