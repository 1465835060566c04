"""Pure functions from arrays to frozen records: no files, no devices, no printing.

The rooms, in the order in which a recording passes through them:

``sweep``, ``programme``
    what was played, in closed form
``passes``, ``clock``, ``deconvolution``, ``spoilage``
    from the recording to one impulse response a loudspeaker
``arrival``, ``level``, ``polarity``
    how the two loudspeakers match at the seat
``spectrum``, ``features``, ``decay``
    the bass curve, its peaks and dips, and how long they ring
``air``, ``room``, ``modes``, ``boundary``, ``attribution``
    what the room says about them
``checks``, ``reading``, ``compare``
    whether to trust it, all of it together, and two of them side by side
``plots``, ``report``
    drawing and wording; nothing that computes imports them

Conventions: SI units with the unit in the name; time or frequency on the last
axis; a difference is left minus right, positive where left is later, farther or
louder.
"""
