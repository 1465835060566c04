"""Sound while somebody moves a loudspeaker: the nudge loop, and the bass before and after."""
