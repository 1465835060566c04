"""What a loudspeaker's passes say of each other: their times, the clock, the microphone's place."""
