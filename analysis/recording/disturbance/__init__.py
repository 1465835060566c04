"""Foreign sound in a pass: which stretch of which band it disturbs, and what that asks for.

`spectrogram` is what it is seen in, `detection` finds it, `repetition` says which passes are worth
playing again (`measure.takes.run` chooses among them).
"""
