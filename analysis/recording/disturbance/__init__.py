"""Foreign sound in a pass: which stretch of which band it disturbs, and what to play again."""
