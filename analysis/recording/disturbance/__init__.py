"""Foreign sound in a pass: which stretch of which band it spoils, and what to play again."""
