"""The nudge loop in words and large figures."""
