"""Makes the stimulus, plays and records it, reads and keeps results, and holds the commands.

``files``
    what comes from and goes to the disk; ``audio_files`` alone knows the sound-file library
``safety``
    what everything that sounds must pass, and the cautions
``sound``
    the seam for playing and recording, real and simulated; ``portaudio`` alone knows the sound
    library, and imports it late
``takes``, ``live``
    a take from the first quiet noise to its folder; the loop while a loudspeaker is moved
``survey``, ``placement``, ``logbook``
    the survey's files, where to stand the pair, and the folder that keeps everything
``terminal``, ``commands``, ``cli``
    what a person types and sees; each command is a thin file of its own
``errors``
    what can go wrong, told to the person

`measure` may import `analysis`, never the reverse. Heavy imports happen where used.
"""
