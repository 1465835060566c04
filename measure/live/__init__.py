"""Sound while somebody moves a loudspeaker: the nudge loop and its options."""
