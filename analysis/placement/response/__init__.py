"""The steady bass of loudspeakers at a seat, for many places at once."""
